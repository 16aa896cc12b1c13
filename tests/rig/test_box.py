"""The box and the loop together: what a trip does to an etch, one fault after the other."""

import hashlib
import json

import pytest

from etchdaemon.errors import CommandRefused
from etchpractice.box.board import BEAM_CONTACT
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import dashes, patch
from rig.guarded import GuardedRig
from support.harnesses.interlock_bench import ANSWERS

pytestmark = pytest.mark.slow

FEED_HOLD, RESET = b"!", b"\x18"


@pytest.fixture
def rig(tmp_path):
    with GuardedRig(tmp_path) as made:
        yield made


@pytest.fixture
def etching(rig):
    """A rig in the middle of its picture."""
    rig.start(rig.make_job(dashes(6, 400)))
    rig.etch_until_row(3)
    rig.port.written.clear()
    return rig


def test_an_armed_box_etches_a_picture_to_its_end(rig):
    rig.start()
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    assert not rig.is_beam_enabled


def test_a_start_is_refused_until_the_box_is_armed(rig):
    rig.set_origin()
    rig.load()

    with pytest.raises(CommandRefused, match="Arm the box"):
        rig.ask("start")
    assert rig.state == "loaded"
    assert "start" not in rig.may


def test_a_box_without_a_picture_is_not_armed(rig):
    rig.get_ready()

    with pytest.raises(CommandRefused):
        rig.ask("arm", answers=ANSWERS, test_heartbeat=False)
    assert "arm" not in rig.may


def test_an_armed_box_shows_it_and_lets_it_lapse_after_a_minute(rig):
    rig.set_origin()
    rig.load()
    rig.arm()
    armed = rig.state

    rig.rest(62)

    assert armed == "armed"
    assert rig.state == "loaded"


def test_what_the_box_is_stands_in_the_record(rig):
    rig.start()

    box = rig.record.notes["box"]
    assert box["checklist"] == ANSWERS
    assert box["is_loop_proven"]


def test_opening_the_lid_puts_the_beam_out_and_ends_the_run_with_its_reason(etching):
    etching.board.open_lid()
    etching.step(2)
    is_out = not etching.is_beam_enabled and not etching.machine.is_burning
    etching.wait_for_the_end()

    assert is_out
    assert etching.run.ended == "stopped"
    assert "lid is open" in etching.run.because
    assert FEED_HOLD in bytes(etching.port.written)
    assert "cut" in etching.record.kinds()


@pytest.mark.fault("controller goes on with buffered lines")
def test_lines_that_the_controller_still_has_do_not_burn_after_a_trip(etching):
    etching.board.open_lid()
    etching.step(1)
    burning = []

    while etching.state != "ended":
        etching.step()
        burning.append(etching.machine.is_burning)

    assert not any(burning[2:])


def test_closing_the_lid_again_starts_nothing(etching):
    etching.board.open_lid()
    etching.wait(1)
    etching.board.close_lid()
    etching.rest(10)

    assert not etching.is_beam_enabled
    assert etching.state == "ended"
    assert etching.tripped == ["lid closed"]


def test_after_a_trip_nothing_is_armed_until_it_is_reset(etching):
    etching.board.open_lid()
    etching.wait_for_the_end()
    etching.board.close_lid()
    etching.wait(2)
    assert "arm" not in etching.may

    etching.reset()
    etching.arm()
    etching.ask("start")

    etching.wait_for_the_end()
    assert etching.run.ended == "complete"


def test_the_stop_button_resets_the_controller_at_once(etching):
    etching.board.set_input("stop_circuit", level=False)
    etching.step(3)
    is_reset = RESET in bytes(etching.port.written)
    etching.wait_for_the_end()

    assert is_reset
    assert FEED_HOLD not in bytes(etching.port.written)
    assert etching.run.ended == "failed"
    assert "stop button" in etching.run.because


def test_fire_switches_the_extraction_off_and_resets_the_controller(etching):
    etching.board.set_input("flame", level=False)
    etching.wait(0.2)

    assert RESET in bytes(etching.port.written)
    assert not etching.board.outputs["extraction"]


def test_a_dead_fan_ends_the_row_and_then_holds(rig):
    rig.start(rig.make_job(patch(200, 60)))
    rig.etch_until_row(2)
    rig.board.kill_fan()

    rig.wait_until(lambda: rig.state == "held")

    assert "fumes" in rig.run.held_because
    assert not rig.is_beam_enabled
    assert rig.record.kinds().count("trip") == 1
    with pytest.raises(CommandRefused):
        rig.ask("resume")


def test_after_a_mended_fan_somebody_at_the_machine_lets_it_go_on(rig):
    rig.start(rig.make_job(patch(40, 60)))
    rig.etch_until_row(2)
    rig.board.kill_fan()
    rig.wait_until(lambda: rig.state == "held")
    rig.board.mend_fan()
    rig.wait(4)
    rig.reset()
    with pytest.raises(CommandRefused, match="phone alone"):
        rig.ask("resume")

    rig.press_button()
    rig.ask("resume")
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"


def test_resume_is_offered_only_when_it_would_work_and_else_says_what_is_to_be_done(etching):
    def offers():
        return "resume" in etching.commands.snapshot().may, etching.run.why_not_resume

    etching.ask("hold")
    etching.wait_until(lambda: etching.state == "held")
    etching.board.open_lid()
    etching.wait(1)
    is_offered, why_not = offers()
    assert (is_offered, "lid is open" in why_not) == (False, True)
    etching.board.close_lid()
    etching.wait(4)
    etching.reset()
    etching.wait(0.5)
    is_offered, why_not = offers()
    assert (is_offered, "phone alone" in why_not) == (False, True)
    etching.press_button()
    etching.wait(0.5)

    assert offers() == (True, None)
    etching.ask("resume")


def test_a_hold_and_a_stop_name_who_asked_for_them(etching):
    etching.ask("hold", who="Ann’s phone")
    etching.wait_until(lambda: etching.state == "held")
    held_because = etching.run.held_because
    etching.ask("stop", who="Bea’s phone")
    etching.wait_for_the_end()

    assert held_because == "Ann’s phone asked for a hold at the row's end."
    assert etching.run.because == "Bea’s phone stopped it."


def test_a_trip_while_held_sends_nothing_and_forbids_going_on(etching):
    etching.ask("hold")
    etching.wait_until(lambda: etching.state == "held")
    etching.port.written.clear()

    etching.board.open_lid()
    etching.wait(1)

    assert etching.state == "held"
    assert not {FEED_HOLD, RESET} & {bytes([byte]) for byte in etching.port.written}
    with pytest.raises(CommandRefused, match="lid is open"):
        etching.ask("resume")


def test_stop_works_with_the_lid_open_and_the_box_tripped(etching):
    etching.ask("hold")
    etching.wait_until(lambda: etching.state == "held")
    etching.board.open_lid()
    etching.wait(1)

    etching.ask("stop")
    etching.wait_for_the_end()

    assert etching.run.ended == "stopped"


def test_holding_twice_and_starting_twice_change_nothing(etching):
    with pytest.raises(CommandRefused):
        etching.ask("start")
    etching.ask("hold")
    with pytest.raises(CommandRefused):
        etching.ask("hold")
    etching.wait_until(lambda: etching.state == "held")


def test_a_welded_contact_is_found_when_the_beam_is_cut(etching):
    etching.board.weld(BEAM_CONTACT)
    etching.ask("stop")
    etching.wait_for_the_end()
    etching.wait(0.3)

    assert etching.tripped == ["loop open when off"]
    assert "mains supply now" in etching.box.trips[0].sentence


def test_a_failing_guard_ends_the_run(etching, caplog):
    caplog.set_level("CRITICAL", logger="etchdaemon.guard")
    etching.wires.read = lambda: 1 / 0

    etching.wait_for_the_end()

    assert etching.run.ended == "stopped"
    assert "watches the interlocks has failed" in etching.run.because


def test_a_guard_that_no_longer_looks_ends_the_run(etching):
    etching.guard.monitor.look = lambda: None

    etching.wait(0.3)

    assert not etching.is_beam_enabled
    etching.wait_for_the_end()


def test_a_loop_that_hangs_loses_its_beam(etching):
    for _ in range(75):
        etching.guard.monitor.look()
        etching.machine.advance(0.004)

    assert not etching.is_beam_enabled


def test_a_logbook_that_cannot_be_written_leaves_the_box_unarmed_and_dark(rig):
    rig.set_origin()
    rig.load()
    rig.arm()
    rig.records.trouble = "The disk is full."

    with pytest.raises(Exception, match="disk is full"):
        rig.ask("start")
    rig.wait(0.2)

    assert not rig.is_beam_enabled
    assert rig.box.phase == "idle"


def constant_power(folder):
    """Turn a job into one whose beam stays on at standstill."""
    gcode = (folder / GCODE_NAME).read_bytes().replace(b"M4S0\n", b"M3S0\n")
    (folder / GCODE_NAME).write_bytes(gcode)
    sheet = json.loads((folder / SHEET_NAME).read_text())
    sheet["gcode_sha256"] = hashlib.sha256(gcode).hexdigest()
    (folder / SHEET_NAME).write_text(json.dumps(sheet))
    return folder


@pytest.mark.parametrize("change", [lambda folder: folder, constant_power])
def test_a_daemon_that_stands_still_loses_the_beam_with_its_heartbeat(rig, change):
    rig.start(change(rig.make_job(dashes(20, 400))))
    rig.etch_until_row(3)

    rig.machine.advance(0.5)  # neither guard nor loop gets a turn
    is_dark = not rig.machine.board.is_beam_enabled
    rig.machine.advance(5.0)

    assert is_dark
    assert not rig.machine.is_burning


@pytest.mark.parametrize("change", [lambda folder: folder, constant_power])
def test_a_daemon_that_dies_lets_the_beam_fall(rig, change):
    rig.start(change(rig.make_job(dashes(20, 400))))
    rig.etch_until_row(3)

    rig.board.disconnect()  # what the kernel does to the wires of a killed process
    rig.machine.advance(5.0)

    assert not rig.machine.is_burning


def test_a_daemon_that_wakes_up_again_does_not_bring_the_beam_back(etching):
    etching.machine.advance(1.0)

    etching.wait_for_the_end()

    assert not etching.is_beam_enabled
    assert etching.run.ended in ("stopped", "failed")


def test_the_heartbeat_contact_holds_through_a_whole_run(rig):
    rig.start()
    held = []
    while rig.run.etched_rows < 5:  # after that the safety relay is tested
        rig.step()
        held.append(rig.machine.board.inputs()["loop_closed"] or not rig.is_beam_enabled)

    assert held.count(False) < 5, "only while the contact itself moves"


def test_the_wiring_test_shows_every_contact_and_tries_an_output(rig):
    rig.get_ready()
    rig.wait(1.0)

    rig.ask("try_output", name="lamp", on=True)
    rig.wait(0.1)
    shown = rig.ask("wiring")

    lamp = next(one for one in shown["outputs"] if one["name"] == "lamp")
    assert lamp["is_on"]
    assert rig.board.outputs["lamp"]
    assert all(one["is_safe"] is not False for one in shown["inputs"])


def test_the_settings_that_matter_are_told_as_the_controller_answered(rig):
    rig.get_ready()

    shown = rig.ask("settings")

    assert {one["name"]: one["values"] for one in shown["settings"]}["full power"] == ["1000"]
    assert b"$30=" not in rig.port.written
