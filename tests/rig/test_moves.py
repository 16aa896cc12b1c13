"""The head moved between runs: where it comes to, what stops it, and that there is never a beam."""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etchdaemon.errors import CommandRefused
from etchdaemon.run.moving import STOPPED
from etchdaemon.run.states import NEXT_STATE, Command, State
from etchdaemon.service.idle.jog_controller import ARRIVED
from etchpractice.machine import PracticeMachine
from rig.guarded import GuardedRig

pytestmark = pytest.mark.slow

FEED_HOLD, RESET = b"!", b"\x18"
SLACK_MM = 0.1  # of the practice machine's belts, and more


@pytest.fixture(params=["8-bit", "32-bit"])
def rig(request, tmp_path):
    with GuardedRig(tmp_path, PracticeMachine(firmware=request.param)) as made:
        made.set_origin()
        yield made


def machine_of(rig):
    return rig.commands.snapshot().machine


def wait_for_rest(rig):
    rig.wait_until(lambda: not machine_of(rig).is_moving)
    rig.wait_until(lambda: rig.link == "ready")


def move(rig, command="move_to", **said):
    rig.ask(command, **said)
    wait_for_rest(rig)


def home(rig):
    rig.ask("home")
    wait_for_rest(rig)
    rig.wait_until(lambda: machine_of(rig).bed.is_homed)


def is_unburnt(rig):
    return rig.machine.tile.exposure.bounds_mm is None


def test_the_head_goes_to_a_place_in_the_jobs_coordinates(rig):
    move(rig, x_mm=30.0, y_mm=12.5)
    rig.ask("set_origin")
    rig.wait_until(lambda: "move_to" in rig.may)

    move(rig, x_mm=-10.0, y_mm=5.0)

    assert rig.shown_position() == pytest.approx([-10.0, 5.0], abs=0.02)
    assert machine_of(rig).moved == ARRIVED


def test_the_head_goes_by_so_much_from_where_it_is(rig):
    move(rig, x_mm=30.0, y_mm=12.5)

    move(rig, "move_by", x_mm=-0.1, y_mm=20.0)

    assert rig.shown_position() == pytest.approx([29.9, 32.5], abs=0.02)


def test_the_beams_word_is_taken_back_before_the_head_moves(rig):
    rig.port.written.clear()

    move(rig, x_mm=10.0, y_mm=0.0)

    lines = [line for line in bytes(rig.port.written).replace(b"?", b"").split(b"\n") if line]
    assert lines == [b"M5S0", b"$J=G90G21X10.000Y0.000F3000"]


def test_the_outline_of_the_loaded_job_is_traced_without_its_run_ups(rig):
    sheet = rig.load()
    rig.port.written.clear()

    move(rig, "trace_outline")

    picture = sheet.picture
    corner = f"X{picture.right_mm:.3f}Y{picture.top_mm:.3f}".encode()
    assert corner in rig.port.written
    assert rig.shown_position() == pytest.approx([picture.left_mm, picture.bottom_mm], abs=0.02)


def test_the_outline_can_be_traced_with_its_run_ups(rig):
    sheet = rig.load()
    rig.port.written.clear()

    move(rig, "trace_outline", with_run_ups=True)

    assert f"X{sheet.motion.right_mm:.3f}".encode() in rig.port.written


def test_a_move_may_be_made_with_the_lid_open_because_there_is_no_beam(rig):
    rig.board.open_lid()
    rig.wait(0.5)

    move(rig, x_mm=5.0, y_mm=5.0)

    assert rig.shown_position() == pytest.approx([5.0, 5.0], abs=0.02)


@pytest.mark.parametrize("wish", ["stop", "hold", "hold_now"])
def test_a_stop_brings_the_moving_head_to_rest_and_its_place_stays_known(rig, wish):
    rig.ask("move_to", x_mm=300.0, y_mm=0.0)
    rig.wait(1.0)
    assert "stop" in rig.may

    rig.ask(wish)
    wait_for_rest(rig)

    stopped_at_mm = rig.shown_position()[0]
    assert 20.0 < stopped_at_mm < 100.0
    assert machine_of(rig).moved == STOPPED
    move(rig, x_mm=stopped_at_mm + 1, y_mm=0.0)
    assert rig.machine.head_mm[0] == pytest.approx(stopped_at_mm + 1, abs=SLACK_MM)


def test_a_stop_while_the_outline_is_traced_forgets_the_other_sides(rig):
    rig.load()
    rig.ask("trace_outline")
    rig.wait(0.3)

    rig.ask("stop")
    wait_for_rest(rig)
    place = rig.machine.head_mm
    rig.wait(2.0)

    assert rig.machine.head_mm == place


def test_the_stop_circuit_stops_a_moving_head(rig):
    rig.ask("move_to", x_mm=300.0, y_mm=0.0)
    rig.wait(1.0)

    rig.board.set_input("stop_circuit", level=False)
    wait_for_rest(rig)

    assert rig.shown_position()[0] < 100.0
    with pytest.raises(CommandRefused):
        rig.ask("move_to", x_mm=0.0, y_mm=0.0)


@pytest.mark.parametrize("place", [(400.5, 0.0), (0.0, 401.0), (-400.5, 0.0), (0.0, 1e6)])
def test_nobody_is_sent_where_the_travel_certainly_ends(rig, place):
    with pytest.raises(CommandRefused, match="cannot go to"):
        rig.ask("move_to", x_mm=place[0], y_mm=place[1])


def test_a_step_past_the_travel_is_refused_as_well(rig):
    move(rig, x_mm=395.0, y_mm=0.0)

    with pytest.raises(CommandRefused, match="cannot go to x 405"):
        rig.ask("move_by", x_mm=10.0, y_mm=0.0)


def test_without_an_origin_the_travel_counts_from_where_the_head_is(rig):
    """A stale offset makes coordinates of nowhere: 400 mm are as far as the head may be sent."""
    move(rig, x_mm=300.0, y_mm=0.0)
    rig.machine.reset_now()  # it counts from zero there, and keeps its tables
    rig.wait_until(lambda: rig.link != "ready")
    rig.get_ready()

    with pytest.raises(CommandRefused, match="seen from where it is now it reaches"):
        rig.ask("move_by", x_mm=-400.5, y_mm=0.0)
    move(rig, "move_by", x_mm=-350.0, y_mm=0.0)
    with pytest.raises(CommandRefused, match="seen from where it is now"):
        rig.ask("move_to", x_mm=51.0, y_mm=0.0)


def test_a_machine_that_was_homed_knows_where_its_ends_are(homing_rig):
    home(homing_rig)
    bed = machine_of(homing_rig).bed
    place = homing_rig.shown_position()

    width_mm = bed.right_mm - bed.left_mm
    assert width_mm == pytest.approx(400.0)
    assert bed.left_mm <= place[0] <= bed.right_mm
    with pytest.raises(CommandRefused, match="cannot go to"):
        homing_rig.ask("move_to", x_mm=bed.right_mm + 0.5, y_mm=place[1])


def test_the_bed_moves_with_the_origin(homing_rig):
    home(homing_rig)
    left_mm = machine_of(homing_rig).bed.left_mm
    move(homing_rig, "move_by", x_mm=50.0, y_mm=20.0)
    place_mm = homing_rig.shown_position()

    homing_rig.ask("set_origin")
    homing_rig.get_ready()

    homing_rig.wait_until(lambda: homing_rig.shown_position() == (0.0, 0.0))
    bed = machine_of(homing_rig).bed
    assert bed.is_homed
    assert bed.left_mm == pytest.approx(left_mm - place_mm[0], abs=0.02)


def test_a_restart_makes_the_ends_unknown_again(homing_rig):
    home(homing_rig)

    homing_rig.machine.reset_now()
    homing_rig.wait_until(lambda: not getattr(machine_of(homing_rig).bed, "is_homed", False))

    assert not getattr(machine_of(homing_rig).bed, "is_homed", False)


def test_a_locked_machine_does_not_move(homing_rig):
    with pytest.raises(CommandRefused, match="locked"):
        homing_rig.ask("move_to", x_mm=1.0, y_mm=1.0)
    assert "move_to" not in homing_rig.may


def test_a_stop_breaks_off_homing(homing_rig):
    homing_rig.ask("home")
    homing_rig.wait(0.5)

    homing_rig.ask("stop")
    homing_rig.wait_until(lambda: not machine_of(homing_rig).is_moving)
    homing_rig.wait_until(lambda: homing_rig.link != "opening")

    assert machine_of(homing_rig).moved == STOPPED
    assert not getattr(machine_of(homing_rig).bed, "is_homed", False)


def test_an_open_door_of_the_controllers_own_ends_a_move(rig):
    rig.ask("move_to", x_mm=300.0, y_mm=0.0)
    rig.wait(1.0)

    rig.machine.open_door_pin()
    rig.wait_until(lambda: not machine_of(rig).is_moving)

    assert "lid is open" in machine_of(rig).moved


def test_a_cable_pulled_out_during_a_move_is_told(rig):
    rig.ask("move_to", x_mm=300.0, y_mm=0.0)
    rig.wait(1.0)

    rig.machine.unplug()
    rig.wait_until(lambda: rig.link == "lost")

    assert "gone" in machine_of(rig).moved
    rig.machine.plug_in()
    rig.get_ready()


def test_an_alarm_during_a_move_is_told_and_the_machine_is_looked_at_anew(rig):
    rig.ask("move_to", x_mm=300.0, y_mm=0.0)
    rig.wait(1.0)

    rig.machine.trip_alarm(1)
    rig.wait_until(lambda: not machine_of(rig).is_moving)
    rig.wait_until(lambda: rig.link == "refused")

    assert machine_of(rig).moved
    assert "move_to" not in rig.may


def test_a_refused_move_leaves_the_machine_at_rest(rig):
    rig.machine.faults.refuse_next_line(15)

    rig.ask("move_to", x_mm=30.0, y_mm=0.0)
    wait_for_rest(rig)

    assert machine_of(rig).moved != ARRIVED
    assert rig.machine.head_mm == pytest.approx((0.0, 0.0))


def test_a_silent_controller_does_not_keep_a_move_for_ever(rig):
    rig.ask("move_to", x_mm=30.0, y_mm=0.0)
    rig.machine.fall_silent()

    rig.wait_until(lambda: not machine_of(rig).is_moving)

    assert "did not answer" in machine_of(rig).moved


def test_nobody_moves_the_head_while_a_picture_is_etched(rig):
    rig.start()
    rig.etch_until_row(1)

    for command in ("move_to", "move_by"):
        with pytest.raises(CommandRefused):
            rig.ask(command, x_mm=1.0, y_mm=1.0)
    with pytest.raises(CommandRefused):
        rig.ask("trace_outline")
    assert not {"move_to", "move_by", "trace_outline"} & set(rig.may)
    rig.wait_for_the_end()
    assert rig.run.ended == "complete"


def test_nobody_starts_or_arms_while_the_head_moves(rig):
    rig.set_origin()
    rig.load()
    rig.wait_until(lambda: "arm" in rig.may)
    rig.ask("move_to", x_mm=300.0, y_mm=0.0)

    for command, said in (("start", {}), ("arm", {"answers": {}})):
        with pytest.raises(CommandRefused):
            rig.ask(command, **said)
    with pytest.raises(CommandRefused):
        rig.ask("move_by", x_mm=1.0, y_mm=1.0)
    assert not {"arm", "start", "move_to", "move_by", "set_origin"} & set(rig.may)


def test_a_move_undoes_what_was_armed(rig):
    rig.set_origin()
    rig.load()
    rig.arm()
    assert rig.state == "armed"

    move(rig, x_mm=5.0, y_mm=0.0)

    assert rig.state == "loaded"
    assert "start" not in rig.may


def test_a_picture_is_etched_as_planned_after_the_head_was_moved(rig):
    move(rig, x_mm=40.0, y_mm=40.0)

    rig.start()
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"


def test_there_is_no_outline_without_a_picture(rig):
    with pytest.raises(CommandRefused):
        rig.ask("trace_outline")
    assert "trace_outline" not in rig.may


_NUMBER = st.floats(-450, 450)
_WISH = st.one_of(
    st.tuples(st.sampled_from(["move_to", "move_by"]), _NUMBER, _NUMBER),
    st.tuples(st.sampled_from(["trace_outline", "stop", "set_origin", "hold"])),
    st.tuples(st.sampled_from(["open lid", "close lid", "button"])),
    st.tuples(st.just("wait"), st.floats(0, 1)),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(_WISH, max_size=8), st.sampled_from(["8-bit", "32-bit"]))
def test_whatever_is_asked_of_the_head_there_is_no_beam_and_the_tile_stays_white(
    commands, firmware
):
    with (
        TemporaryDirectory() as folder,
        GuardedRig(Path(folder), PracticeMachine(firmware=firmware)) as rig,
    ):
        rig.get_ready()
        rig.load()
        closed = np.zeros(0)
        step = rig.service.step

        def watched():
            nonlocal closed
            step()
            closed = np.append(closed, rig.is_beam_enabled)

        rig.service.step = watched
        for name, *said in commands:
            _do(rig, name, said)
        rig.wait(1.0)

        assert not closed.any()
        assert is_unburnt(rig)


def _do(rig, name, said):
    match name:
        case "open lid":
            rig.board.open_lid()
        case "close lid":
            rig.board.close_lid()
        case "button":
            rig.board.press_button()
        case "wait":
            rig.wait(said[0])
        case _:
            arguments = dict(zip(("x_mm", "y_mm"), said, strict=False))
            try:
                rig.ask(name, **arguments)
            except CommandRefused:
                rig.wait(0.1)


@pytest.mark.parametrize("command", ["set_origin", "home"])
def test_what_touches_the_place_undoes_what_was_armed(homing_rig, command):
    home(homing_rig)
    move(homing_rig, "move_by", x_mm=50.0, y_mm=20.0)
    homing_rig.set_origin()
    homing_rig.load()
    homing_rig.arm()
    assert homing_rig.state == "armed"

    homing_rig.ask(command)

    homing_rig.wait_until(lambda: homing_rig.state == "loaded", within_s=0.1)
    assert "start" not in homing_rig.may


def test_only_an_armed_box_starts_and_the_table_of_states_shows_no_other_way():
    starts = {state for state, wish in NEXT_STATE if wish is Command.START}

    assert starts == {State.ARMED}
