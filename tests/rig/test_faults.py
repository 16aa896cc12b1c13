"""The fault table: whatever goes wrong in mid-run, the beam goes out and a person is told why.

Every row ends with the beam enable off, the machine at rest, a cause in the logbook, and a next
run that needs no restart of the daemon.
"""

import dataclasses
import hashlib

import pytest

from etchwire.sheet import GCODE_NAME, SHEET_NAME, read_sheet
from rig.bench import STEP_S, patch

BRAKING_S = 4000 / 60 / 1000  # v / a of the job below
REST_WITHIN_S = 0.15 + BRAKING_S


def _etch(rig):
    """Etch until well into the picture, so that window and planner are full."""
    rig.start(rig.make_job(patch(14, 300)))
    rig.etch_until_row(4)
    rig.wait(0.3)


def _wait_for_rest(rig):
    """Return how long the head still moves, in simulated seconds."""
    begun_s, place = rig.machine.now_s, None
    while place != rig.machine.head_mm:
        place = rig.machine.head_mm
        rig.step(2)
    return rig.machine.now_s - begun_s - 2 * STEP_S


def _wait_for_the_cut(rig, within_s):
    rig.wait_until(lambda: not rig.contact.is_closed, within_s=within_s)


def _assert_it_failed(rig, word):
    assert rig.run["ended"] == "failed"
    assert word in rig.run["because"]
    assert rig.record.end["ended"] == "failed"
    assert not rig.contact.is_closed
    assert not rig.machine.is_burning


def _assert_the_next_run_works(rig):
    rig.wait_until(lambda: rig.link in ("ready", "refused"), within_s=15.0)
    if "unlock" in rig.wishes.snapshot()["may"]:
        rig.ask("unlock")
    rig.wait_until(lambda: rig.link == "ready", within_s=20.0)
    rig.ask("set_origin")
    rig.get_ready()
    rig.wait_until(lambda: "start" in rig.wishes.snapshot()["may"])
    rig.ask("start")
    rig.wait_for_the_end()
    assert rig.run["ended"] == "complete"


# A machine that still answers is brought to rest and keeps its place.


@pytest.mark.parametrize("firmware", ["8-bit", "32-bit"])
@pytest.mark.parametrize(
    ("verb", "word", "within_s"),
    [
        (lambda machine: machine.refuse_next_line(20), "a code that this controller", 0.1),
        (lambda machine: machine.garble_next_reply(), "damaged", 0.1),
    ],
    ids=["error for one line", "garbled reply"],
)
def test_a_fault_on_the_line_ends_the_run_at_rest_with_the_place_known(
    rig_of, firmware, verb, word, within_s
):
    rig = rig_of(firmware=firmware)
    _etch(rig)

    verb(rig.machine)
    _wait_for_the_cut(rig, within_s)
    assert _wait_for_rest(rig) <= REST_WITHIN_S
    rig.wait_for_the_end(within_s=5.0)

    _assert_it_failed(rig, word)
    assert "not known" not in rig.run["because"]
    place = rig.record.event("cut")["details"]
    assert place["rest_x_mm"] == pytest.approx(rig.machine.head_mm[0], abs=0.1)
    rig.wait(2.0)
    assert rig.machine.head_mm[0] == pytest.approx(place["rest_x_mm"], abs=0.1)
    _assert_the_next_run_works(rig)


def test_one_reply_too_many_is_found_at_the_latest_when_all_lines_are_answered(rig):
    _etch(rig)
    rig.machine.extra_reply()

    rig.wait_for_the_end()

    _assert_it_failed(rig, "more lines than it was sent")
    _assert_the_next_run_works(rig)


def test_replies_too_many_are_found_before_the_buffer_runs_over_for_long(rig):
    _etch(rig)
    for _ in range(6):
        rig.machine.extra_reply()

    rig.wait_for_the_end(within_s=2.0)

    assert rig.run["ended"] == "failed"
    assert not rig.contact.is_closed


def test_lines_behind_a_refused_one_do_not_burn(rig):
    _etch(rig)
    rig.machine.refuse_next_line(20)
    _wait_for_the_cut(rig, 0.1)

    before = rig.machine.tile.exposure_j_per_mm2((0, 0, 50, 3)).sum()
    rig.wait_for_the_end()

    assert rig.machine.tile.exposure_j_per_mm2((0, 0, 50, 3)).sum() == pytest.approx(before)


def test_the_place_of_a_cut_in_motion_is_known_as_well_as_it_is_logged(rig):
    _etch(rig)
    rig.machine.refuse_next_line(20)
    _wait_for_the_cut(rig, 0.1)
    true_x_mm = rig.machine.head_mm[0]

    rig.wait_for_the_end()

    cut = rig.record.event("cut")["details"]
    assert abs(cut["x_mm"] - true_x_mm) <= cut["error_mm"] + 0.06  # the axis has 0.06 mm of slack
    assert cut["error_mm"] < 2.0


def test_a_lost_reply_is_found_when_the_machine_stands_idle(rig):
    _etch(rig)
    rig.machine.lose_next_reply()

    rig.wait_for_the_end()

    _assert_it_failed(rig, "a line was lost")
    _assert_the_next_run_works(rig)


def test_a_controller_that_reports_but_does_not_answer_has_lost_a_reply(rig):
    _etch(rig)
    rig.machine.withhold_replies()

    rig.wait_for_the_end(within_s=5.0)

    _assert_it_failed(rig, "owes an answer")


@pytest.mark.parametrize("delay_s", [0.05, 0.3])
def test_replies_that_come_late_slow_the_etch_down_and_no_more(rig, delay_s):
    _etch(rig)
    rig.machine.delay_replies(delay_s)

    rig.wait_for_the_end(within_s=240.0)

    assert rig.run["ended"] == "complete"
    assert rig.record.event("starved")["details"]["reports"] > 0


def test_a_controller_that_is_five_seconds_late_is_given_up(rig):
    _etch(rig)
    rig.machine.delay_replies(5.0)

    rig.wait_for_the_end(within_s=20.0)

    _assert_it_failed(rig, "answers nothing any more")
    rig.machine.delay_replies(0.0)
    _assert_the_next_run_works(rig)


def test_a_door_opened_at_the_controller_ends_the_run_with_the_place_known(rig):
    _etch(rig)
    rig.machine.open_door_pin()
    rig.wait_for_the_end(within_s=3.0)

    _assert_it_failed(rig, "lid")
    assert "not known" not in rig.run["because"]
    rig.machine.close_door_pin()
    _assert_the_next_run_works(rig)


def test_a_pause_in_the_job_ends_the_run(rig):
    folder = rig.make_job(patch(6, 200))
    sheet = read_sheet(folder)
    text = (folder / GCODE_NAME).read_bytes()
    at = text.index(b"X.1S600\n", sheet.index[2].byte)
    paused = text[:at] + b"M0" + b"0" * 5 + text[at + 7 :]  # as long as before
    (folder / GCODE_NAME).write_bytes(paused)
    changed = dataclasses.replace(sheet, gcode_sha256=hashlib.sha256(paused).hexdigest())
    (folder / SHEET_NAME).write_text(changed.to_json())
    rig.start(folder)

    rig.wait_for_the_end()

    _assert_it_failed(rig, "a pause in the job")


# A machine that has lost its place, or its head, says so.


@pytest.mark.parametrize("number", [1, 2, 3, 8])
def test_an_alarm_ends_the_run_with_the_place_unknown(rig, number):
    _etch(rig)
    rig.machine.trip_alarm(number)
    _wait_for_the_cut(rig, 0.1)
    rig.wait_for_the_end(within_s=5.0)

    _assert_it_failed(rig, "not known")
    _assert_the_next_run_works(rig)


@pytest.mark.parametrize("verb", ["reset_now", "brown_out"])
def test_a_controller_that_restarts_by_itself_ends_the_run(rig, verb):
    _etch(rig)
    getattr(rig.machine, verb)()
    _wait_for_the_cut(rig, 0.2)
    rig.wait_for_the_end(within_s=5.0)

    _assert_it_failed(rig, "not known")
    _assert_the_next_run_works(rig)


def test_nothing_is_sent_for_two_and_a_half_seconds_after_a_greeting_nobody_asked_for(rig):
    _etch(rig)
    rig.machine.reset_now()
    rig.wait_for_the_end(within_s=1.0)
    sent = len(rig.port.written)

    rig.wait(2.4)

    assert len(rig.port.written) == sent


def test_a_greeting_that_comes_twice_ends_the_run_once(rig):
    _etch(rig)
    rig.machine.reset_now()
    rig.wait(0.3)
    rig.machine.greet_again()
    rig.wait_for_the_end()

    _assert_it_failed(rig, "restarted by itself")
    _assert_the_next_run_works(rig)


def test_a_silent_controller_is_reset_and_given_up_when_it_stays_silent(rig):
    _etch(rig)
    rig.machine.fall_silent()
    _wait_for_the_cut(rig, 1.6)
    assert _wait_for_rest(rig) <= REST_WITHIN_S
    rig.wait_for_the_end(within_s=5.0)

    _assert_it_failed(rig, "not known")
    rig.wait_until(lambda: rig.link == "refused")
    rig.machine.speak_again()
    _assert_the_next_run_works(rig)


def test_a_controller_that_hangs_with_its_outputs_on_does_not_burn_on(rig):
    _etch(rig)
    rig.machine.hang()
    _wait_for_the_cut(rig, 1.6)
    rig.wait_for_the_end(within_s=6.0)

    _assert_it_failed(rig, "answers nothing")
    rig.machine.reset_now()
    _assert_the_next_run_works(rig)


def test_a_cable_pulled_in_motion_ends_the_run(rig):
    _etch(rig)
    rig.machine.unplug()
    rig.step(2)
    assert not rig.contact.is_closed
    _wait_for_rest(rig)

    _assert_it_failed(rig, "gone")
    rig.machine.plug_in()
    _assert_the_next_run_works(rig)


def test_a_cable_pulled_while_held_ends_the_run(rig):
    _etch(rig)
    rig.ask("hold")
    rig.wait_until(lambda: rig.state == "held")
    rig.machine.unplug()
    rig.step(2)

    _assert_it_failed(rig, "gone")
    rig.machine.plug_in()
    _assert_the_next_run_works(rig)


def test_a_port_that_takes_no_more_bytes_ends_the_run(rig):
    _etch(rig)
    rig.port.is_blocked = True
    _wait_for_the_cut(rig, 0.3)

    _assert_it_failed(rig, "takes no more bytes")
    rig.port.is_blocked = False
    _assert_the_next_run_works(rig)


def test_a_thousand_random_bytes_end_the_run_and_nothing_else(rig):
    _etch(rig)
    rig.machine.send_noise(1000)
    rig.wait_for_the_end(within_s=10.0)

    assert rig.run["ended"] == "failed"
    assert not rig.contact.is_closed
    _assert_the_next_run_works(rig)


def test_a_thousand_random_bytes_at_rest_disturb_nothing_for_long(rig):
    rig.get_ready()
    rig.machine.send_noise(1000)
    rig.wait(5.0)

    rig.load(rig.make_job(patch(14, 300)))
    _assert_the_next_run_works(rig)


# What is no fault.


def test_a_daemon_that_was_stopped_for_five_seconds_goes_on_where_it_was(rig):
    _etch(rig)

    rig.machine.advance(5.0)
    rig.wait_for_the_end()

    assert rig.run["ended"] == "complete"
    assert [row.row for row in rig.record.rows] == list(range(14))
    assert "held up for 5.0 s" in rig.record.event("warning")["text"]


def test_a_line_damaged_on_its_way_is_found_by_where_the_head_ends(rig):
    rig.port.damage = (b"G90G0X0Y0\n", b"G90G0X.6Y0\n")
    rig.start(rig.make_job(patch(3, 60)))

    rig.wait_for_the_end()

    _assert_it_failed(rig, "at x 0.60, y 0.00 mm but should be at x 0.00")
    assert rig.run["etched_rows"] < 3 or rig.run["share"] < 1.0


def test_a_damaged_line_in_a_row_is_found_when_the_etch_is_held_at_its_end(rig):
    _etch(rig)
    rig.port.damage = (b"X.1S600\n", b"X.3S600\n")
    rig.step(2)
    rig.port.damage = None
    rig.ask("hold")
    rig.wait_for_the_end()

    _assert_it_failed(rig, "where the row ends")


def test_a_line_damaged_into_a_long_way_is_found_as_soon_as_the_head_is_astray(rig):
    rig.start(rig.make_job(patch(14, 300)))
    rig.etch_until_row(4)
    rig.port.damage = (b"X.1S600\n", b"X90S600\n")
    rig.step(2)
    rig.port.damage = None

    rig.wait_for_the_end()

    _assert_it_failed(rig, "nothing of this picture")


def test_garbage_and_the_greeting_that_ends_it_may_come_in_one_piece(rig):
    """The line end before a greeting completes the garbage: both are heard in the same look."""
    _etch(rig)
    rig.machine.brown_out()
    rig.machine.advance(0.3)
    rig.wait_for_the_end()

    _assert_it_failed(rig, "not known")
    _assert_the_next_run_works(rig)
