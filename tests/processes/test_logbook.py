"""The logbook in a process that is killed, and in one whose files may not grow."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from support.harnesses.logbooks import OPENED_UTC, NamedLogbook

TESTS = Path(__file__).resolve().parents[1]
WORKER = Path(__file__).with_name("logbook_worker.py")
PATIENCE_S = 60.0


def worker(path, what, **more):
    environment = os.environ | {"PYTHONPATH": str(TESTS)}
    command = [sys.executable, WORKER, path, what]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment, **more
    )


def record_in(path):
    with NamedLogbook.at(path, utc_now=lambda: OPENED_UTC) as logbook:
        assert logbook.trouble is None
        return logbook.run_record(1)


@pytest.mark.parametrize("confirmations", [0, 1, 40, 300])
def test_kill_9_in_the_middle_of_writing_loses_nothing_that_was_confirmed(tmp_path, confirmations):
    path = tmp_path / "logbook.sqlite3"
    with worker(path, "confirm") as process:
        said = [process.stdout.readline().strip() for _ in range(confirmations + 1)]
        process.kill()
        said += process.stdout.read().split("\n")[:-1]

    confirmed = [word for word in said if word.isdecimal()]
    record = record_in(path)
    texts = [event["text"] for event in record["events"]]
    assert texts[: len(confirmed)] == confirmed
    assert len(texts) - len(confirmed) in (0, 1)  # one may be on disk and not yet confirmed
    assert len(confirmed) >= confirmations
    assert record["ended"] == "failed"
    rows = [row["row"] for row in record["row_actuals"]]
    assert rows == list(range(1, len(rows) + 1))
    with sqlite3.connect(path) as book:
        assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    book.close()


def test_where_files_may_not_grow_people_are_told_and_all_is_written_when_they_may(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    with worker(path, "full") as process:
        said, faults = process.communicate(timeout=PATIENCE_S)

    assert process.returncode == 0, faults
    refused, trouble, trouble_afterwards = [line.split(" ", 1)[1] for line in said.splitlines()]
    record = record_in(path)
    texts = [event["text"] for event in record["events"]]
    assert int(refused) > 0
    assert trouble.startswith("The logbook cannot be written: the disk")
    assert trouble_afterwards == "None"
    assert [text for text in texts if text.startswith("noted")] == [
        f"noted {number}" for number in range(200)
    ]
    assert sum(text.startswith("confirmed") for text in texts) == 200 - int(refused)
    assert [row["row"] for row in record["row_actuals"]] == list(range(200))
    assert record["ended"] == "complete"
