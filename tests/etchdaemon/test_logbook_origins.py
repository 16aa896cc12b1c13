"""Origins in the logbook: in which epoch each was set, and what the last one is called."""

import sqlite3
from contextlib import closing

import pytest

from etchdaemon.logbook.read.recall import last_origin
from etchdaemon.run.position_epoch import Origin
from support.harnesses.logbooks import LONG_S, OPENED_UTC, NamedLogbook, start_run

ENDS_MM = ((-400.0, -300.0), (0.0, 0.0))
ORIGIN = Origin({"G54": (-50.0, -80.5, 0.0), "TLO": (0.0,)})


@pytest.fixture
def path(tmp_path):
    return tmp_path / "logbook.sqlite3"


def opened(path):
    return NamedLogbook.at(path, utc_now=lambda: OPENED_UTC, confirm_timeout_s=LONG_S)


def test_a_logbook_without_an_origin_has_none_to_find_again(path):
    with opened(path) as logbook:
        assert logbook.recall(last_origin) is None


def test_an_origin_has_the_name_of_the_last_etch_that_began_from_it(path):
    with opened(path) as logbook:
        start_run(logbook, title="before it")
        logbook.note_epoch("The machine was homed.", at_utc=OPENED_UTC)
        logbook.note_origin(ORIGIN, ENDS_MM, at_utc=OPENED_UTC)
        unnamed = logbook.recall(last_origin)
        start_run(logbook, title="from it")
    with opened(path) as logbook:
        named = logbook.recall(last_origin)

    assert unnamed.name == "the origin that was set last"
    assert named.name == "the origin of etch 2"
    assert (named.place_mm, named.ends_mm) == ((-50.0, -80.5), ENDS_MM)


def test_an_origin_that_was_set_without_homing_is_not_found_again(path):
    with opened(path) as logbook:
        logbook.note_origin(ORIGIN, ENDS_MM, at_utc=OPENED_UTC)
        logbook.note_origin(ORIGIN, None, at_utc=OPENED_UTC)

        assert logbook.recall(last_origin) is None


def test_an_origin_belongs_to_the_epoch_that_lasted_when_it_was_set(path):
    with opened(path) as logbook:
        for because in ("The first.", "The second."):
            logbook.note_epoch(because, at_utc=OPENED_UTC)
            logbook.note_origin(ORIGIN, ENDS_MM, at_utc=OPENED_UTC)
    with closing(sqlite3.connect(path)) as book:
        found = book.execute(
            "SELECT because, offsets_json FROM origin JOIN position_epoch"
            " ON position_epoch.id = position_epoch_id ORDER BY origin.id"
        ).fetchall()

    assert [because for because, _ in found] == ["The first.", "The second."]
    assert '"G54": [-50.0, -80.5, 0.0]' in found[0][1]
