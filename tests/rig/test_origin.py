"""The origin and the position epoch: set, lost, read back, found again; and the bed of a job."""

import pytest

from etchdaemon.errors import CommandRefused
from etchpractice.machine import PracticeMachine
from etchwire.calls.call import Done
from rig.bench import Rig, patch
from support.harnesses.calls import as_table
from support.harnesses.interlock_bench import ANSWERS

pytestmark = pytest.mark.slow


def origin(rig):
    return rig.commands.snapshot().machine.origin


def home(rig):
    rig.ask("home")
    rig.wait_until(lambda: not rig.commands.snapshot().machine.is_moving)
    rig.get_ready()


def go_to(rig, command="move_by", *, x_mm, y_mm):
    rig.wait_until(lambda: command in rig.commands.snapshot().may)
    rig.ask(command, x_mm=x_mm, y_mm=y_mm)
    rig.wait_until(lambda: not rig.commands.snapshot().machine.is_moving)
    rig.get_ready()


def cut_power(rig, *, off_s=3.0, push_mm=(21.8, 13.4)):
    rig.machine.lose_power()
    rig.wait(off_s)
    rig.machine.push_head(*push_mm)
    rig.machine.get_power()
    rig.wait(1.0)
    rig.wait_until(lambda: rig.link in ("ready", "refused"))


# Set.


def test_nothing_starts_before_the_origin_is_set_in_this_epoch(rig):
    rig.get_ready()
    rig.load()

    with pytest.raises(CommandRefused, match=r"opened anew.*set the origin"):
        rig.ask("start")
    snapshot = rig.commands.snapshot()
    assert "start" not in snapshot.may
    assert "set the origin" in origin(rig).sentence
    assert not origin(rig).is_known

    rig.ask("set_origin")
    assert as_table(origin(rig)) | {"epoch": 0} == {
        "is_known": True,
        "epoch": 0,
        "sentence": "",
        "again": None,
    }
    rig.ask("start")
    assert rig.state == "etching"


def test_an_origin_is_answered_for_only_when_it_was_read_back(rig):
    rig.get_ready()
    rig.port.damage = (b"G10L20P1X0Y0", b"G10L20P1X1Y0")

    with pytest.raises(CommandRefused, match="does not keep the origin"):
        rig.ask("set_origin")

    assert not origin(rig).is_known


def test_other_offsets_are_taken_back_before_the_origin_is_set(rig):
    rig.get_ready()
    rig.machine.write(b"G92X7Y3\nG43.1Z2\nG55\n")
    rig.wait(0.5)

    rig.ask("set_origin")

    found = rig.daemon_machine.facts
    assert not any(found.origins_mm["G92"])
    assert not any(found.origins_mm["TLO"])
    assert "G54" in found.parser.words


@pytest.mark.parametrize("line", [b"G92X1\n", b"G43.1Z1\n", b"G55\n", b"G10L2P6X1\n"])
def test_an_offset_changed_behind_our_back_is_found_at_the_start(rig, line):
    rig.set_origin()
    rig.load()
    rig.machine.write(line)
    rig.wait(1.0)

    with pytest.raises(CommandRefused, match=r"no longer what they were.*set the origin"):
        rig.ask("start")


def test_with_its_offsets_changed_an_etch_is_not_said_to_have_kept_its_place(rig):
    rig.start(rig.make_job(patch(10, 200)))
    rig.etch_until_row(4)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()
    rig.ask("reenter", run=1, confirm="tile and head have not moved", row=None)
    rig.machine.write(b"G55\n")
    rig.wait(1.0)

    with pytest.raises(CommandRefused, match="no longer what they were"):
        rig.ask("start")

    rig.step()
    assert not rig.commands.snapshot().unfinished.is_place_kept


# Lost.


@pytest.mark.fault("origin after a power cut")
@pytest.mark.parametrize("off_s", [0.05, 0.5, 2.0, 4.5, 12.0])
@pytest.mark.parametrize("firmware", ["8-bit", "32-bit"])
def test_a_power_cut_of_any_length_loses_the_origin(tmp_path, firmware, off_s):
    with Rig(tmp_path, PracticeMachine(firmware=firmware)) as rig:
        rig.set_origin()
        rig.load()

        cut_power(rig, off_s=off_s)

        with pytest.raises(CommandRefused, match="set the origin"):
            rig.ask("start")
        assert len(rig.records.epochs) >= 2


def test_a_run_that_was_stopped_keeps_the_epoch(rig):
    rig.start(rig.make_job(patch(10, 200)))
    number = origin(rig).epoch
    rig.etch_until_row(4)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()
    rig.wait(5.0)

    assert (origin(rig).epoch, origin(rig).is_known) == (number, True)
    assert rig.records.epochs == [rig.records.epochs[0]]


def test_a_board_that_greets_twice_keeps_the_epoch(rig):
    rig.start(rig.make_job(patch(10, 200)))
    rig.etch_until_row(4)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.machine.greet_again()
    rig.wait(5.0)
    rig.get_ready()

    assert origin(rig).is_known


def test_a_head_pushed_in_a_hold_ends_the_run(rig):
    rig.start(rig.make_job(patch(10, 200)))
    rig.etch_until_row(4)
    rig.ask("hold")
    rig.wait_until(lambda: rig.state == "held")

    rig.machine.faults.lose_next_reply()  # by a pendant, which is no business of ours
    rig.machine.write(b"$J=G91X1F1000\n")
    rig.wait_for_the_end()

    assert rig.run.ended == "failed"
    assert "osition unknown" in rig.run.because
    assert not rig.commands.snapshot().unfinished.is_place_kept


def test_a_head_moved_at_the_controller_between_runs_loses_the_origin(rig):
    rig.set_origin()
    rig.machine.write(b"$J=G91X0.1F1000\n")
    rig.wait(3.0)
    rig.get_ready()

    assert "without a move of this program" in origin(rig).sentence


def test_one_lost_report_request_costs_neither_the_origin_nor_seconds(rig):
    rig.set_origin()
    rig.load()
    rig.port.damage = (b"?", b"")
    asked, begun_s = rig.submit("start"), rig.machine.now_s
    rig.step(3)
    rig.port.damage = None

    rig.wait_until(lambda: asked.is_answered)

    assert asked.answer(0) == Done()
    assert rig.machine.now_s - begun_s < 1.0


def test_a_power_cut_whose_greeting_answers_our_own_reset_loses_the_origin(rig):
    """At 0,0,0 the place itself shows nothing: the silence before the greeting does."""
    rig.set_origin()
    rig.machine.open_door_pin()
    rig.wait(1.0)
    rig.machine.close_door_pin()
    rig.wait_until(lambda: rig.link == "opening")  # because of the door, and asked anew
    rig.machine.lose_power()
    rig.wait(1.5)
    rig.machine.get_power(boot_s=0.05)
    rig.wait_until(lambda: rig.link == "ready")

    assert not origin(rig).is_known


def test_a_restart_that_nobody_heard_during_a_move_loses_the_origin(rig):
    rig.set_origin()
    rig.wait_until(lambda: "move_to" in rig.commands.snapshot().may)
    rig.ask("move_to", x_mm=300.0, y_mm=0.0)
    rig.wait(0.5)
    rig.machine.lose_power()
    rig.machine.get_power(boot_s=0.0)
    rig.machine.fall_silent()
    rig.wait_until(lambda: not rig.commands.snapshot().machine.is_moving)
    rig.machine.speak_again()
    rig.wait_until(lambda: rig.link == "ready")

    assert not origin(rig).is_known


def test_an_armed_box_is_disarmed_when_the_epoch_ends(guarded):
    guarded.set_origin()
    guarded.load()
    guarded.arm()

    guarded.machine.reset_now()
    guarded.wait_until(lambda: guarded.state == "loaded", within_s=1.0)
    guarded.get_ready()

    with pytest.raises(CommandRefused, match=r"restarted by itself.*set the origin"):
        guarded.ask("arm", answers=ANSWERS, test_heartbeat=False)


# Found again.


def test_after_homing_an_earlier_origin_is_offered_by_name_and_is_where_it_was(homing_rig):
    rig = homing_rig
    home(rig)
    go_to(rig, x_mm=150.0, y_mm=200.0)
    rig.ask("set_origin")
    rig.get_ready()
    place_mm = rig.machine.head_mm
    rig.start(rig.make_job(patch(4, 60)))
    rig.wait_for_the_end()

    cut_power(rig, push_mm=(-30.0, 40.0))
    assert "find_origin" not in rig.may
    with pytest.raises(CommandRefused, match="homed"):
        rig.ask("find_origin")
    home(rig)
    again = origin(rig).again
    assert "find_origin" in rig.may
    assert again.name == "the origin of etch 1"
    assert again.name in origin(rig).sentence
    rig.ask("find_origin")

    assert origin(rig).is_known
    go_to(rig, "move_to", x_mm=0.0, y_mm=0.0)
    assert rig.machine.head_mm == pytest.approx(place_mm, abs=0.1)


def test_an_origin_set_before_homing_is_not_offered(homing_rig):
    rig = homing_rig
    rig.ask("unlock")
    rig.set_origin()
    home(rig)

    assert origin(rig).again is None
    assert not origin(rig).is_known


# The bed.


def test_a_job_that_would_leave_the_bed_is_neither_armed_nor_started(homing_rig):
    rig = homing_rig
    home(rig)
    go_to(rig, x_mm=390.0, y_mm=200.0)  # the picture is to the right of it, the bed is not
    rig.ask("set_origin")
    rig.load(rig.make_job(patch(4, 60)))

    with pytest.raises(CommandRefused, match=r"leave the bed.*further left"):
        rig.ask("arm", answers=ANSWERS, test_heartbeat=False)
    with pytest.raises(CommandRefused, match="leave the bed"):
        rig.ask("start")
    assert not {"arm", "start"} & set(rig.may)

    go_to(rig, x_mm=-100.0, y_mm=0.0)
    rig.ask("set_origin")
    rig.wait_until(lambda: "arm" in rig.may)


def test_the_preflight_knows_where_the_origin_of_a_homed_machine_lies(homing_rig):
    rig = homing_rig
    home(rig)
    go_to(rig, x_mm=100.0, y_mm=150.0)
    rig.load()
    before = rig.preflight.machines[-1]
    rig.ask("set_origin")
    rig.step(3)
    after = rig.preflight.machines[-1]

    assert before["is_homed"] is False
    assert after["is_homed"] is True
    bed = rig.commands.snapshot().machine.bed
    assert after["origin_x_mm"] == pytest.approx(-bed.left_mm)
    assert after["origin_y_mm"] == pytest.approx(-bed.bottom_mm)


# What is refused while the head moves.


@pytest.mark.parametrize("command", ["set_origin", "home", "unlock"])
def test_what_is_asked_while_the_head_moves_is_refused_for_that_reason(rig, command):
    rig.set_origin()
    rig.wait_until(lambda: "move_to" in rig.commands.snapshot().may)
    rig.ask("move_to", x_mm=300.0, y_mm=0.0)
    rig.wait(0.5)

    with pytest.raises(CommandRefused, match="The head is moving"):
        rig.ask(command)
    assert origin(rig).is_known
