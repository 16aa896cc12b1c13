"""An etch that was cut short is taken up again: nothing missing, nothing burnt twice."""

import re

import numpy as np
import pytest

from etchdaemon.errors import CommandRefused
from etchpath.reentry.remainder import Cut, write_rest
from etchwire.sheet import GCODE_NAME, SHEET_NAME, read_sheet
from rig.bench import KEPT_UP_WITH, light_by_row, patch

pytestmark = pytest.mark.slow

ROWS = 10


def _rest_of(rig, folder):
    """Write what is left of the job in `folder` after the cut in the record."""
    place = rig.record.event("cut")["details"]
    rest = rig.folder / "rest"
    rest.mkdir()
    cut = Cut(row=place["row"], x_mm=place["x_mm"])
    with (folder / GCODE_NAME).open("rb") as job, (rest / GCODE_NAME).open("w+b") as file:
        sheet = write_rest(job, read_sheet(folder), cut, file)
    (rest / SHEET_NAME).write_text(sheet.to_json())
    return rest, place


def _etched_in_two(rig, rig_beside, end_it):
    bits = patch(ROWS, 200)
    rig_beside.start(rig_beside.make_job(bits, feed_mm_per_min=KEPT_UP_WITH))
    rig_beside.wait_for_the_end()
    folder = rig.make_job(bits, feed_mm_per_min=KEPT_UP_WITH)
    rig.start(folder)
    rig.etch_until_row(4)
    rig.wait(0.2)
    end_it(rig)
    rig.wait_for_the_end()
    rest, place = _rest_of(rig, folder)
    rig.get_ready()
    rig.start(rest)
    rig.wait_for_the_end()
    assert rig.run.ended == "complete"
    return light_by_row(rig, ROWS), light_by_row(rig_beside, ROWS), place


@pytest.mark.parametrize(
    "end_it",
    [
        lambda rig: rig.ask("stop"),
        lambda rig: rig.machine.faults.refuse_next_line(20),
        lambda rig: rig.machine.open_door_pin() or rig.wait(1.0) or rig.machine.close_door_pin(),
    ],
    ids=["stop", "fault", "door"],
)
def test_the_rest_meets_what_was_etched_within_the_logged_error(rig, rig_beside, end_it):
    in_two, at_once, place = _etched_in_two(rig, rig_beside, end_it)

    across_mm = np.arange(60) * 0.5 + 0.25
    reach_mm = place["error_mm"] + 2.5 + 1.0  # braking, and the half millimetres it falls into
    away = np.abs(across_mm - place["x_mm"]) > reach_mm
    others = np.arange(ROWS) != place["row"]
    worst = at_once.max()
    assert np.abs(in_two - at_once)[others].max() < 0.06 * worst
    assert np.abs(in_two - at_once)[:, away].max() < 0.06 * worst
    assert in_two.max() < 2.1 * worst


def test_the_log_says_which_row_was_cut_and_the_rest_begins_there(rig, rig_beside):
    _, _, place = _etched_in_two(rig, rig_beside, lambda rig: rig.ask("stop"))

    assert place["row"] == 4
    rest = [row.row for row in rig.records.runs[1].rows]
    assert rest == list(range(4, ROWS))


# As a person asks for it.


def _cut_short(rig, end_it=lambda rig: rig.ask("stop"), bits=None):
    rig.start(
        rig.make_job(patch(ROWS, 200) if bits is None else bits, feed_mm_per_min=KEPT_UP_WITH)
    )
    rig.etch_until_row(4)
    rig.wait(0.2)
    end_it(rig)
    rig.wait_for_the_end()
    rig.get_ready()


@pytest.mark.parametrize(
    "end_it",
    [
        lambda rig: rig.ask("stop"),
        lambda rig: rig.machine.faults.refuse_next_line(20),
        lambda rig: (rig.ask("hold_now") and None) or rig.wait(1.0) or rig.ask("stop"),
    ],
    ids=["stop", "fault", "stopped while held"],
)
def test_a_cut_etch_is_taken_up_without_a_row_missing_or_doubled(rig, rig_beside, end_it):
    rig_beside.start(rig_beside.make_job(patch(ROWS, 200), feed_mm_per_min=KEPT_UP_WITH))
    rig_beside.wait_for_the_end()
    _cut_short(rig, end_it)
    place = rig.record.event("cut")["details"]

    told = rig.ask("reenter", run=1, confirm="tile and head have not moved", row=None)
    rig.wait_until(lambda: "start" in rig.commands.snapshot().may)
    rig.ask("start")
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    assert rig.run.continues_run_id == 1
    assert rig.record.continues_run == 1
    assert f"{place['error_mm']:.2f} mm" in told["sentence"]
    assert "nothing has moved" in told["sentence"]
    assert "faint band" in told["sentence"]
    in_two, at_once = light_by_row(rig, ROWS), light_by_row(rig_beside, ROWS)
    across_mm = np.arange(60) * 0.5 + 0.25
    away = np.abs(across_mm - place["x_mm"]) > place["error_mm"] + 3.5
    others = np.arange(ROWS) != place["row"]
    assert np.abs(in_two - at_once)[others].max() < 0.06 * at_once.max()
    assert np.abs(in_two - at_once)[:, away].max() < 0.06 * at_once.max()


def test_the_rest_of_a_rest_still_names_the_job_whose_picture_it_is(rig):
    _cut_short(rig, lambda rig: rig.ask("stop"))
    first = rig.commands.snapshot().job.sha256
    for run in (1, 2):
        rig.ask("reenter", run=run, confirm="tile and head have not moved", row=None)
        job = rig.commands.snapshot().job

        assert job.picture_sha256 == first != job.sha256
        rig.wait_until(lambda: "start" in rig.commands.snapshot().may)
        rig.ask("start")
        rig.etch_until_row(6 + run)
        rig.ask("stop")
        rig.wait_for_the_end()


def test_after_a_restart_of_the_controller_only_a_set_origin_lets_it_be_taken_up(rig):
    _cut_short(rig, lambda rig: rig.machine.reset_now())

    with pytest.raises(CommandRefused, match="set the origin"):
        rig.ask("reenter", run=1, confirm="tile and head have not moved", row=4)
    told = rig.ask("reenter", run=1, confirm="origin set again", row=4)
    with pytest.raises(CommandRefused, match="set the origin"):
        rig.ask("start")
    rig.set_origin()

    assert "0.05 mm at best" in told["sentence"]
    assert [entry.row for entry in rig.job_sheet.index] == list(range(4, ROWS))


def test_a_restart_after_the_run_has_ended_counts_as_well(rig):
    _cut_short(rig)
    rig.machine.reset_now()
    rig.wait(4.0)
    rig.get_ready()

    with pytest.raises(CommandRefused, match="position unknown since that run"):
        rig.ask("reenter", run=1, confirm="tile and head have not moved", row=None)


def test_a_restart_between_loading_and_starting_forbids_the_start(rig):
    _cut_short(rig)
    rig.ask("reenter", run=1, confirm="tile and head have not moved", row=None)
    rig.machine.reset_now()
    rig.wait(4.0)
    rig.get_ready()

    with pytest.raises(CommandRefused, match="set the origin"):
        rig.ask("start")


def test_without_a_logged_cut_the_row_has_to_be_told(rig):
    _cut_short(rig, lambda rig: rig.machine.unplug() or rig.wait(0.1) or rig.machine.plug_in())

    with pytest.raises(CommandRefused, match=r"near row 4.*first that is not dark"):
        rig.ask("reenter", run=1, confirm="origin set again", row=None)


def test_nothing_is_taken_up_without_a_confirmation_or_after_a_whole_etch(rig):
    rig.start()
    rig.wait_for_the_end()

    with pytest.raises(CommandRefused, match="tile and head have not moved"):
        rig.ask("reenter", run=1, confirm="yes", row=None)
    with pytest.raises(CommandRefused, match="complete"):
        rig.ask("reenter", run=1, confirm="origin set again", row=None)
    assert "reenter" not in rig.commands.snapshot().may


# What is told of it beforehand.


def _outlook(rig, run=1, row=None):
    return rig.request("unfinished", run=run, row=row)


def test_after_a_stop_the_bench_says_what_may_be_taken_up_and_that_nothing_has_moved(rig):
    _cut_short(rig)
    place = rig.record.event("cut")["details"]

    shown, told = rig.commands.snapshot().unfinished, _outlook(rig)

    assert (shown.run, shown.is_place_kept, shown.rows) == (1, True, ROWS)
    assert told["may"]
    assert (
        place.items() >= {name: told["cut"][name] for name in ("row", "x_mm", "error_mm")}.items()
    )
    assert told["cut"]["from_left_mm"] < told["cut"]["x_mm"]  # the run-up lies before the picture
    assert told["rest"]["first_row"] == place["row"]
    assert any("nothing has moved" in sentence for sentence in told["known"])


def test_after_a_restart_of_the_controller_the_place_is_said_to_be_lost(rig):
    _cut_short(rig, lambda rig: rig.machine.reset_now())

    told = _outlook(rig, row=6)

    assert not rig.commands.snapshot().unfinished.is_place_kept
    assert (told["may"], told["is_place_kept"], told["is_row_known"]) == (True, False, False)
    assert told["rest"]["first_row"] == 6
    assert any("0.05 mm at best" in sentence for sentence in told["unknown"])


def test_a_daemon_started_anew_finds_in_the_logbook_what_was_left(rig):
    _cut_short(rig, lambda rig: rig.machine.unplug() or rig.wait(0.1) or rig.machine.plug_in())
    rig.get_ready()
    rig.ask("unload")

    rig.service.recall(rig.reentry.newest())
    rig.step()

    snapshot = rig.commands.snapshot()
    assert (snapshot.state, snapshot.unfinished.run) == ("idle", 1)
    assert "reenter" in snapshot.may


def test_what_was_gone_on_with_is_offered_no_more_but_its_rest_is(rig):
    _cut_short(rig)
    rig.ask("reenter", run=1, confirm="tile and head have not moved", row=None)
    rig.wait_until(lambda: "start" in rig.commands.snapshot().may)
    rig.ask("start")
    assert rig.commands.snapshot().unfinished is None
    rig.etch_until_row(6)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    assert "Etch 2 has gone on with etch 1" in _outlook(rig)["why_not"]
    with pytest.raises(CommandRefused, match=re.escape(_outlook(rig)["why_not"])):
        rig.ask("reenter", run=1, confirm="tile and head have not moved", row=None)
    assert _outlook(rig, run=2)["may"]
    assert rig.commands.snapshot().unfinished.run == 2


def test_a_rest_that_was_stopped_before_its_first_row_is_taken_up_to_the_same_place(
    rig, rig_beside
):
    rig_beside.start(rig_beside.make_job(patch(ROWS, 200), feed_mm_per_min=KEPT_UP_WITH))
    rig_beside.wait_for_the_end()
    _cut_short(rig)
    place = rig.record.event("cut")["details"]
    rig.ask("reenter", run=1, confirm="tile and head have not moved", row=None)
    rig.wait_until(lambda: "start" in rig.commands.snapshot().may)
    rig.ask("start")
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    told = _outlook(rig, run=2)
    rig.ask("reenter", run=2, confirm="tile and head have not moved", row=None)
    rig.wait_until(lambda: "start" in rig.commands.snapshot().may)
    rig.ask("start")
    rig.wait_for_the_end()

    assert told["is_row_known"]
    assert "nothing of it is on the tile" in told["known"][0]
    assert rig.run.ended == "complete"
    in_two, at_once = light_by_row(rig, ROWS), light_by_row(rig_beside, ROWS)
    across_mm = np.arange(60) * 0.5 + 0.25
    away = np.abs(across_mm - place["x_mm"]) > place["error_mm"] + 3.5
    assert np.abs(in_two - at_once)[:, away].max() < 0.06 * at_once.max()


def test_a_cut_in_the_first_row_before_any_report_from_it_is_not_told_as_unbegun(rig):
    rig.start(rig.make_job(patch(ROWS, 200)))
    rig.wait_until(lambda: rig.machine.is_burning)
    assert rig.run.row is None

    rig.machine.controller.engine.say("error:20")
    rig.wait_for_the_end()

    assert rig.record.event("cut")["details"]["row"] == 0
    assert "unbegun" not in rig.record.kinds()


def test_while_something_is_etched_nothing_else_is_taken_up(rig):
    _cut_short(rig)
    rig.ask("reenter", run=1, confirm="tile and head have not moved", row=None)
    rig.wait_until(lambda: "start" in rig.commands.snapshot().may)
    rig.ask("start")

    assert not _outlook(rig, run=2)["may"]


def test_a_run_held_at_a_rows_end_needs_no_eye_although_its_port_was_lost(rig):
    rig.start(rig.make_job(patch(ROWS, 200), feed_mm_per_min=KEPT_UP_WITH))
    rig.etch_until_row(4)
    rig.ask("hold")
    rig.wait_until(lambda: rig.state == "held")
    rig.machine.unplug()
    rig.wait_for_the_end()
    rig.machine.plug_in()
    rig.set_origin()
    first = rig.run.etched_rows

    told = rig.ask("reenter", run=1, confirm="origin set again", row=None)

    assert f"Row {first + 1} is etched from its beginning" in told["sentence"]
    assert rig.job_sheet.index[0].row == first


def test_a_job_that_shifts_its_own_origin_is_never_offered(rig):
    rig.preflight.find("origin shift", "acknowledge")
    rig.set_origin()
    rig.load(rig.make_job(patch(ROWS, 200), feed_mm_per_min=KEPT_UP_WITH))
    rig.ask("start", acknowledge=["origin shift"])
    rig.etch_until_row(4)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    assert rig.commands.snapshot().unfinished is None
    assert "shifts its own origin" in _outlook(rig)["why_not"]
    with pytest.raises(CommandRefused, match=re.escape(_outlook(rig)["why_not"])):
        rig.ask("reenter", run=1, confirm="origin set again", row=4)


@pytest.mark.parametrize(
    ("disturb", "sentence"),
    [
        (
            lambda rig: rig.machine.faults.lose_next_reply(),
            "Every row was etched; the last answer did not",
        ),
        (lambda rig: rig.machine.extra_reply(), "Every row was etched; then one answer too many"),
    ],
    ids=["lost", "added"],
)
def test_a_run_whose_last_answer_is_amiss_is_never_offered(rig, disturb, sentence):
    rig.start(rig.make_job(patch(ROWS, 40)))  # nearly every line is sent when the last row begins
    rig.etch_until_row(ROWS - 1)
    disturb(rig)
    rig.wait_for_the_end()
    rig.get_ready()

    assert sentence in rig.run.because
    assert rig.record.end["etched_rows"] == ROWS
    assert rig.reentry.newest() is None
    assert rig.commands.snapshot().unfinished is None
    with pytest.raises(CommandRefused):
        rig.ask("reenter", run=1, confirm="tile and head have not moved", row=None)


def test_the_rows_above_a_rest_count_as_etched_from_its_beginning(rig):
    _cut_short(rig)
    rig.ask("reenter", run=1, confirm="origin set again", row=5)
    assert rig.commands.snapshot().job.rows_above == 5
    rig.wait_until(lambda: "start" in rig.commands.snapshot().may)

    rig.ask("start")

    assert rig.run.etched_rows == 5
