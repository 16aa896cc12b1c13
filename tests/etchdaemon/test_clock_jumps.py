"""A board without a battery: its clock stands at 1970, jumps to now, and is sometimes set back."""

import pytest

from etchdaemon.logbook.backup.names import KEPT
from support.harnesses.logbooks import END, EVENT, LONG_S, NamedLogbook, row_of
from support.samples.sheets import sheet_of

UNSET = "1970-01-01T00:01:00+00:00"
NOW = "2026-11-25T17:02:00+00:00"
BACK = "2025-03-01T09:00:00+00:00"
AHEAD = "2099-01-01T00:00:00+00:00"


class Wall:
    """The wall's clock, moved by hand; believed once it is told the time."""

    def __init__(self):
        self.utc = UNSET

    @property
    def is_set(self):
        return self.utc != UNSET


@pytest.fixture
def wall():
    return Wall()


@pytest.fixture
def logbook(tmp_path, wall):
    with NamedLogbook.at(
        tmp_path / "logbook.sqlite3",
        utc_now=lambda: wall.utc,
        is_clock_synchronised=lambda: wall.is_set,
        confirm_timeout_s=LONG_S,
    ) as logbook:
        yield logbook


def start(logbook, wall, title):
    return logbook.start_run(
        sheet_json=sheet_of(title=title).to_json(), started_at_utc=wall.utc, notes={}
    )


def end(logbook, wall, run, elapsed_s):
    logbook.end_run(run, **(END | {"at_utc": wall.utc, "elapsed_s": elapsed_s}))


def test_a_run_in_which_the_clock_is_set_keeps_its_length_and_its_order(logbook, wall):
    run = start(logbook, wall, "before the network came")
    logbook.note_event(run, **(EVENT | {"at_utc": wall.utc, "at_s": 1.0, "text": "first"}))
    wall.utc = NOW
    logbook.note_event(run, **(EVENT | {"at_utc": wall.utc, "at_s": 2.0, "text": "second"}))
    wall.utc = BACK
    logbook.note_event(run, **(EVENT | {"at_utc": wall.utc, "at_s": 3.0, "text": "third"}))
    logbook.note_rows(run, [row_of(0)])
    end(logbook, wall, run, 8.0)

    told = logbook.ask("run", id=run)
    events = logbook.ask("run_events", id=run, after=0, limit=10)["events"]
    assert (told["elapsed_s"], told["is_clock_synchronised"]) == (8.0, False)
    assert [event["text"] for event in events] == ["first", "second", "third"]
    assert [event["at_s"] for event in events] == [1.0, 2.0, 3.0]


def test_runs_are_listed_in_the_order_in_which_they_were_etched(logbook, wall):
    for title, wall.utc in (("one", NOW), ("two", UNSET), ("three", AHEAD), ("four", BACK)):
        end(logbook, wall, start(logbook, wall, title), 1.0)

    runs = logbook.ask("runs", before=None, limit=10)["runs"]

    assert [run["title"] for run in runs] == ["four", "three", "two", "one"]
    assert [run["id"] for run in runs] == [4, 3, 2, 1]
    assert [run["is_clock_synchronised"] for run in runs] == [True, True, False, True]


@pytest.mark.slow
def test_whatever_the_clock_says_the_seven_backups_made_last_are_kept(logbook, wall, tmp_path):
    made = []
    for at in (AHEAD, AHEAD, NOW, UNSET, NOW, BACK, UNSET, AHEAD, BACK, NOW):
        wall.utc = at
        logbook.ask("backup")
        while (state := logbook.ask("backups"))["share"] is not None:
            pass
        assert state["trouble"] is None
        made.append(state["kept"][0]["name"])

    assert len(set(made)) == len(made)
    assert sorted(path.name for path in (tmp_path / "backups").glob("*.sqlite3")) == made[-KEPT:]
