"""The logbook under its loop: who waits for the disk, who does not, and what is never lost."""

import threading

import pytest

from etchdaemon.errors import CommandRefused, LogbookUnavailable
from etchdaemon.logbook.read.recall import last_relay_test, proofs
from support.harnesses.logbooks import (
    END,
    EVENT,
    LONG_S,
    OPENED_UTC,
    STARTED_UTC,
    Disk,
    NamedLogbook,
    logbook_on,
    row_of,
    start_run,
)
from support.samples.sheets import HEAD, RECIPE, sheet_of


@pytest.fixture
def disk(tmp_path):
    disk = Disk(tmp_path / "logbook.sqlite3")
    yield disk
    disk.let_go()


@pytest.fixture
def logbook(disk):
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        yield logbook
        disk.let_go()


def note(logbook, run, **changes):
    logbook.note_event(run, **(EVENT | changes))


def texts(logbook, run):
    return [
        event["text"] for event in logbook.ask("run_events", id=run, after=0, limit=500)["events"]
    ]


def rows(logbook, run):
    return [row[0] for row in logbook.ask("run_rows", id=run, from_row=0, limit=500)["rows"]]


def notes(logbook):
    return [entry["text"] for entry in logbook.ask("runs", before=None, limit=1)["notes"]]


LARGE = {"seen": "x" * 9000}  # details for which a file without a free page has no place


def test_a_run_is_recorded_with_its_recipe_and_its_laser(logbook):
    run = logbook.start_run(
        sheet_json=sheet_of().to_json(), started_at_utc=STARTED_UTC, notes={"by": "arm button"}
    )

    record = logbook.ask("run", id=run)

    assert record["title"] == "Lighthouse at dusk"
    assert record["recipe_feed_mm_per_min"] == RECIPE.feed_mm_per_min
    assert record["head_rated_optical_w"] == HEAD.rated_optical_w
    assert record["started_at_utc"] == STARTED_UTC
    assert record["notes"] == {"by": "arm button"}
    assert record["ended"] is None
    assert "index" not in record["sheet"]
    assert record["sheet"]["head"] == HEAD.to_table()


@pytest.mark.parametrize("answer", [True, False, None])
def test_a_run_says_whether_its_clock_could_be_believed(disk, answer):
    with logbook_on(disk, is_clock_synchronised=lambda: answer) as logbook:
        run = start_run(logbook)

        assert logbook.ask("run", id=run)["is_clock_synchronised"] is answer


def test_the_whole_life_of_a_run_is_read_back(logbook):
    run = start_run(logbook)
    logbook.note_rows(run, [row_of(0), row_of(1, feed=None, samples=0, is_estimated=True)])
    note(logbook, run, kind="held", text="You asked for it.", at_s=2.0)
    logbook.confirm_event(run, **(EVENT | {"kind": "resumed", "at_s": 5.0}))
    logbook.end_run(run, **END)

    record = logbook.run_record(run)

    assert [row["row"] for row in record["row_actuals"]] == [0, 1]
    assert record["row_actuals"][1]["feed_mean_mm_per_min"] is None
    assert record["holds"] == [{"from_s": 2.0, "to_s": 5.0, "because": "You asked for it."}]
    assert (record["ended"], record["because"]) == ("complete", "All rows are etched.")
    assert (record["elapsed_s"], record["etched_rows"]) == (8.0, 20)


def test_the_comparison_says_what_was_really_run(logbook):
    run = start_run(logbook)
    logbook.note_rows(
        run,
        [
            row_of(0, feed=4000.0, samples=30),
            row_of(1, feed=3800.0, samples=10),  # 5 % below the recipe, not more
            row_of(2, feed=3799.0, samples=10),
            row_of(3, feed=2000.0, samples=2, is_estimated=True, power_mean_ratio=0.3),
            row_of(4, feed=None, samples=0, is_estimated=True, power_mean_ratio=None),
        ],
    )
    logbook.confirm_event(run, **EVENT)

    comparison = logbook.ask("run", id=run)["comparison"]

    # Weighted by samples, by hand: 30·4000 + 10·3800 + 10·3799 + 2·2000, and 50·0.6 + 2·0.3.
    assert comparison["feed_mean_mm_per_min"] == pytest.approx(199_990 / 52)
    assert comparison["power_mean_ratio"] == pytest.approx(30.6 / 52)
    assert comparison["dose_ratio"] == pytest.approx(30.6 / 0.6 * 4000 / 199_990)
    assert comparison["slow_rows_ratio"] == pytest.approx(2 / 4)
    assert comparison["slowest_row"]["row"] == 3
    assert (comparison["measured_rows"], comparison["estimated_rows"]) == (5, 2)
    assert comparison["feed_asked_mm_per_min"] == 4000.0


def test_a_run_without_rows_compares_with_nothing(logbook):
    comparison = logbook.ask("run", id=start_run(logbook))["comparison"]

    assert comparison["measured_rows"] == 0
    assert comparison["feed_mean_mm_per_min"] is comparison["slowest_row"] is None


def test_a_row_measured_twice_is_kept_as_measured_last(logbook):
    run = start_run(logbook)
    logbook.note_rows(run, [row_of(7, feed=1000.0)])
    logbook.note_rows(run, [row_of(7, feed=2000.0)])
    logbook.confirm_event(run, **EVENT)

    assert logbook.ask("run_rows", id=run, from_row=0, limit=9)["rows"][0][3] == 2000.0


def test_the_first_end_of_a_run_is_its_end(logbook):
    run = start_run(logbook)
    logbook.end_run(run, **END)
    logbook.end_run(run, **(END | {"ended": "failed", "because": "Cable lost."}))

    assert logbook.ask("run", id=run)["ended"] == "complete"


@pytest.mark.parametrize("question", ["run", "run_rows", "run_events"])
def test_a_run_that_is_not_there(logbook, question):
    about = {
        "run": {},
        "run_rows": {"from_row": 0, "limit": 5},
        "run_events": {"after": 0, "limit": 5},
    }

    if question == "run":
        with pytest.raises(CommandRefused, match="There is no run 99"):
            logbook.ask("run", id=99)
    else:
        answer = logbook.ask(question, id=99, **about[question])
        assert [] in answer.values()


@pytest.mark.slow
@pytest.mark.parametrize("limit", [1, 7, 500, 10_000])
def test_pages_of_any_size_hold_every_row_once(logbook, limit):
    run = start_run(logbook)
    logbook.note_rows(run, [row_of(3 * number, feed=1000 / 3) for number in range(1200)])
    logbook.confirm_event(run, **EVENT)

    found, from_row = [], 0
    while from_row is not None:
        page = logbook.ask("run_rows", id=run, from_row=from_row, limit=limit)
        assert 1 <= len(page["rows"]) <= min(limit, 500)
        found += page["rows"]
        from_row = page["next_row"]

    assert [row[0] for row in found] == [3 * number for number in range(1200)]


def test_large_events_come_in_answers_that_fit_the_wire(logbook):
    run = start_run(logbook)
    for number in range(30):
        note(logbook, run, text=str(number), details={"seen": "x" * 15_000})

    first = logbook.ask("run_events", id=run, after=0, limit=500)

    assert 1 < len(first["events"]) < 30
    assert first["next_after"] == first["events"][-1]["id"]
    assert len(logbook.run_record(run)["events"]) == 30


def test_runs_are_listed_newest_first_and_page_by_page(logbook):
    numbers = [start_run(logbook) for _ in range(5)]

    first = logbook.ask("runs", before=None, limit=3)
    second = logbook.ask("runs", before=first["next_before"], limit=3)

    listed = [run["id"] for page in (first, second) for run in page["runs"]]
    assert listed == numbers[::-1]
    assert second["next_before"] is None


def test_a_slow_disk_delays_nobody_but_those_who_must_wait(logbook, disk):
    run = start_run(logbook)
    disk.hold_back()

    note(logbook, run, text="lid opened")
    assert disk.is_committing.wait(LONG_S)
    for number in range(100):
        note(logbook, run, text=f"after {number}")
        logbook.note_rows(run, [row_of(number)])
    logbook.end_run(run, **END)
    disk.let_go()

    assert texts(logbook, run) == ["lid opened", *(f"after {number}" for number in range(100))]
    assert logbook.ask("run", id=run)["ended"] == "complete"
    assert len(rows(logbook, run)) == 100


def test_a_start_returns_only_when_it_is_on_disk(logbook, disk):
    disk.hold_back()
    started = []
    thread = threading.Thread(target=lambda: started.append(start_run(logbook)))
    thread.start()
    assert disk.is_committing.wait(LONG_S)
    commits = disk.commits

    assert started == []
    disk.let_go()
    thread.join(LONG_S)
    assert (started, disk.commits) == ([1], commits + 1)


def test_a_start_given_up_is_ended_as_failed_when_the_disk_comes_back(disk):
    with logbook_on(disk, confirm_timeout_s=0.5) as logbook:
        disk.hold_back()

        with pytest.raises(LogbookUnavailable, match=r"has not answered for 0\.5 seconds"):
            start_run(logbook)
        disk.let_go()

    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        (run,) = logbook.ask("runs", before=None, limit=5)["runs"]
    assert (run["ended"], run["etched_rows"]) == ("failed", 0)
    assert "nothing was etched" in run["because"]


def test_a_start_given_up_before_its_turn_is_never_written(disk):
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        first = start_run(logbook)
        disk.hold_back()
        note(logbook, first)
        assert disk.is_committing.wait(LONG_S)

        logbook.confirm_timeout_s = 0.1
        with pytest.raises(LogbookUnavailable):
            start_run(logbook)
        disk.let_go()

    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        assert len(logbook.ask("runs", before=None, limit=5)["runs"]) == 1


@pytest.mark.fault("disk full for the log")
def test_on_a_full_disk_the_etch_goes_on_people_are_told_and_nothing_is_lost(logbook, disk):
    run = start_run(logbook)
    disk.fill()
    note(logbook, run, text="first", details=LARGE)
    assert texts(logbook, run) == []

    assert logbook.trouble == "The logbook cannot be written: the disk is full, make room."
    logbook.note_rows(run, [row_of(number) for number in range(600)])
    note(logbook, run, text="second", details=LARGE)
    with pytest.raises(LogbookUnavailable):
        logbook.confirm_event(run, **(EVENT | {"text": "resumed", "details": LARGE}))
    with pytest.raises(LogbookUnavailable):
        start_run(logbook)

    disk.make_room()
    logbook.confirm_event(run, **(EVENT | {"text": "third"}))
    assert texts(logbook, run) == ["first", "second", "third"]
    assert len(logbook.run_record(run)["row_actuals"]) == 600
    assert logbook.trouble is None
    assert "the disk is full" in notes(logbook)[0]


def test_a_disk_that_is_full_when_the_daemon_starts_is_told_and_tried_again(disk):
    disk.is_missing = True
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        assert logbook.trouble == "The logbook cannot be opened: the disk is full."
        with pytest.raises(LogbookUnavailable, match="cannot be opened"):
            start_run(logbook)
        with pytest.raises(LogbookUnavailable, match="cannot be opened"):
            logbook.ask("runs", before=None, limit=1)

        disk.is_missing = False
        run = start_run(logbook)

        assert logbook.trouble is None
        assert logbook.ask("run", id=run)["ended"] is None


def test_a_record_that_does_not_fit_takes_no_other_with_it(logbook, disk):
    run = start_run(logbook)
    disk.hold_back()
    note(logbook, run, text="before")
    assert disk.is_committing.wait(LONG_S)
    note(logbook, run, text="a")
    note(logbook, 99, text="of a run that is not there")
    note(logbook, run, text="\ud800")
    note(logbook, run, at_s="soon")
    note(logbook, run, text="b")
    disk.let_go()

    assert texts(logbook, run) == ["before", "a", "b"]
    assert logbook.trouble is None


def test_somebody_whose_record_does_not_fit_is_told(logbook):
    with pytest.raises(LogbookUnavailable, match="a fault in the program"):
        logbook.confirm_event(99, **EVENT)


@pytest.mark.parametrize("details", [{"a": object()}, {"a": float("nan")}, {"a": "x" * 100_000}])
def test_an_event_is_kept_whatever_its_details(logbook, details):
    run = start_run(logbook)
    note(logbook, run, details=details)

    assert texts(logbook, run) == [EVENT["text"]]


def test_closing_writes_what_still_waits(disk):
    with logbook_on(disk) as logbook:
        run = start_run(logbook)
        logbook.note_rows(run, [row_of(number) for number in range(50)])
        logbook.end_run(run, **END)
        logbook.note_rows(run, [row_of(50)])

    with logbook_on(disk) as logbook:
        assert rows(logbook, run) == list(range(51))


def test_a_run_left_open_by_a_dead_daemon_is_ended_as_failed_where_it_was_seen_last(disk):
    with logbook_on(disk) as logbook:
        started, unstarted = start_run(logbook), start_run(logbook)
        logbook.note_rows(started, [row_of(number) for number in range(8)])
        note(logbook, started, at_s=77.5)

    with logbook_on(disk) as logbook:
        cut, empty = (logbook.ask("run", id=run) for run in (started, unstarted))

    assert (cut["ended"], cut["etched_rows"], cut["elapsed_s"]) == ("failed", 8, 77.5)
    assert cut["because"] == "Power was lost or the control program was ended near row 8."
    assert cut["ended_at_utc"] == OPENED_UTC
    assert (empty["etched_rows"], empty["elapsed_s"]) == (0, 0.0)


@pytest.mark.fault("logbook damaged at start")
def test_a_damaged_logbook_is_told_about_in_the_new_one(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    path.write_bytes(b"not a database at all" * 100)

    with NamedLogbook.at(path, utc_now=lambda: OPENED_UTC) as logbook:
        assert "set aside as logbook.damaged-20261126T080000.sqlite3" in notes(logbook)[0]
        assert logbook.trouble is None
        assert start_run(logbook) == 1


def test_a_closed_logbook_refuses_at_once(disk):
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        run = start_run(logbook)

    for action in (
        lambda: start_run(logbook),
        lambda: logbook.confirm_event(run, **EVENT),
        lambda: logbook.ask("run", id=run),
    ):
        with pytest.raises(LogbookUnavailable, match="The logbook is closed"):
            action()


def test_what_is_asked_while_it_closes_is_answered_or_refused(disk):
    answers = []
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        run = start_run(logbook)
        disk.hold_back()
        note(logbook, run)
        assert disk.is_committing.wait(LONG_S)

        def ask():
            try:
                answers.append(logbook.ask("run", id=run)["id"])
            except LogbookUnavailable as refusal:
                answers.append(str(refusal))

        asker = threading.Thread(target=ask)
        asker.start()
        disk.let_go()
    asker.join(LONG_S)

    assert answers[0] in (run, "The logbook is closed.")


def test_a_writer_that_fails_says_so_and_nothing_starts_any_more(logbook, disk):
    def fail():
        raise AssertionError("a fault of the program")

    disk.before_commit = fail
    with pytest.raises(LogbookUnavailable):
        start_run(logbook)

    assert logbook.trouble.startswith("The logbook's writer has failed")
    with pytest.raises(LogbookUnavailable, match="writer has failed"):
        start_run(logbook)
    logbook.note_event(1, **EVENT)


def test_a_run_that_continues_another_says_so(logbook):
    first = start_run(logbook)
    second = logbook.start_run(
        sheet_json=sheet_of().to_json(), started_at_utc=STARTED_UTC, notes={}, continues_run=first
    )

    assert logbook.ask("run", id=second)["continues_run_id"] == first
    listed = logbook.ask("runs", before=None, limit=5)["runs"]
    assert [run["continues_run_id"] for run in listed] == [first, None]


def test_the_day_on_which_a_contact_was_last_seen_to_open_is_remembered(disk, logbook):
    logbook.note_proof("stop_circuit", "2026-10-03T09:00:00+00:00")
    logbook.note_proof("stop_circuit", "2026-11-24T17:00:00+00:00")
    logbook.note_proof("flame", "2026-11-01T08:00:00+00:00")

    assert logbook.recall(proofs) == {"stop_circuit": "2026-11-24", "flame": "2026-11-01"}


def test_the_safety_relays_last_test_is_remembered(disk, logbook):
    assert logbook.recall(last_relay_test) == {}
    logbook.note_relay_test("2026-11-24T17:00:00+00:00", has_passed=True)
    logbook.note_relay_test("2026-11-28T09:00:00+00:00", has_passed=False)

    assert logbook.recall(last_relay_test) == {"day": "2026-11-28", "has_passed": False}
