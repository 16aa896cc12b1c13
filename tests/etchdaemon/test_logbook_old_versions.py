"""A stored logbook of each earlier version, as SQL text, is brought to the newest."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from etchdaemon.logbook.schema.steps import MIGRATIONS
from support.harnesses.logbooks import LONG_S, OPENED_UTC, NamedLogbook

DUMPS = sorted(Path(__file__).with_name("old_logbooks").glob("version-*.sql"))


def test_every_version_before_this_one_s_first_release_is_stored():
    assert [path.stem for path in DUMPS][:3] == ["version-1", "version-2", "version-3"]


@pytest.mark.parametrize("dump", DUMPS, ids=lambda path: path.stem)
def test_a_stored_logbook_is_read_by_this_program(dump, tmp_path):
    path = tmp_path / "logbook.sqlite3"
    with closing(sqlite3.connect(path)) as book:
        book.executescript(dump.read_text())

    with NamedLogbook.at(path, utc_now=lambda: OPENED_UTC, confirm_timeout_s=LONG_S) as logbook:
        assert logbook.trouble is None
        record = logbook.run_record(1)
        (left_open,) = [logbook.ask("run", id=2)]

    assert (record["title"], record["ended"]) == ("Lighthouse at dusk", "complete")
    assert [row["row"] for row in record["row_actuals"]] == list(range(20))
    assert record["comparison"]["feed_mean_mm_per_min"] == pytest.approx(3990.0)
    assert record["events"][0]["details"] == {"row": 3}
    assert "near row 5" in left_open["because"]
    with closing(sqlite3.connect(path)) as book:
        assert book.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
        assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
