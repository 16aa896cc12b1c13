"""What recordings of the real controllers showed, and that the daemon gets along with it."""

import pytest

from etchdaemon.controller import realtime
from etchdaemon.controller.lines import PLAIN_BYTES, significant
from etchdaemon.errors import UnfitLine
from etchdaemon.service.link.wire import ORDERED_BYTES
from etchpractice.machine import PracticeMachine
from rig.bench import KEPT_UP_WITH, patch
from rig.guarded import GuardedRig

LIGHTS_THE_BEAM_IN_A_HOLD = 0x9E
GREETING = b"\r\nGrbl 1.1h ['$' for help]\r\n"


@pytest.fixture(params=["8-bit", "32-bit"])
def moving_rig(request, tmp_path):
    """A rig whose head is on a long way, beam off."""
    with GuardedRig(tmp_path, PracticeMachine(firmware=request.param)) as made:
        made.get_ready()
        made.ask("move_to", x_mm=300.0, y_mm=0.0)
        made.wait(1.0)
        yield made


def _etch(rig):
    """Etch until window and planner are full and a line is in work, no answer cut in two."""
    rig.start(rig.make_job(patch(14, 300), feed_mm_per_min=KEPT_UP_WITH))
    rig.etch_until_row(4)
    rig.wait(0.3)
    controller = rig.machine.controller
    rig.wait_until(lambda: controller.engine.lines.is_in_work and rig.port.heard.endswith(b"\n"))
    rig.port.heard.clear()


def _after_the_alarm(rig):
    """Return what was heard between the alarm and the greeting."""
    return (
        bytes(rig.port.heard).partition(b"ALARM:")[2].partition(b"\r\n")[2].partition(GREETING)[0]
    )


def test_an_ok_that_a_reset_brings_is_no_answer_and_no_fault(rig):
    """With a full planner the 8-bit firmware says ok for the line it gave up, then greets."""
    _etch(rig)
    rig.ask("stop")
    rig.wait_for_the_end()

    assert rig.run.ended == "stopped"
    assert b"ok\r\n" + GREETING in rig.port.heard


@pytest.mark.slow
@pytest.mark.parametrize("number", [3, 6, 8, 9])
def test_an_ok_that_an_alarm_brings_is_not_counted_for_a_line(rig, number):
    _etch(rig)
    etch = rig.etch
    counted = etch.lines_accepted - rig.port.heard.count(b"ok\r\n")

    rig.machine.trip_alarm(number)
    rig.wait_for_the_end()
    rig.wait(2.0)

    before = bytes(rig.port.heard).partition(b"ALARM:")[0].count(b"ok\r\n")
    assert _after_the_alarm(rig) == b"ok\r\n"
    assert etch.lines_accepted == counted + before
    assert rig.run.ended == "failed"


@pytest.mark.slow
@pytest.mark.parametrize(("number", "word"), [(1, "limit switch"), (2, "travel")])
def test_a_controller_that_answers_nothing_after_an_alarm_is_reset(rig, number, word):
    """After these two only a reset helps, and not even a report is given before it."""
    _etch(rig)

    rig.machine.trip_alarm(number)
    rig.wait_for_the_end()
    rig.wait(3.0)

    assert word in rig.run.because
    assert _after_the_alarm(rig) == b"[MSG:Reset to continue]\r\nok\r\n"
    assert GREETING in rig.port.heard
    assert rig.link != "opening"


def test_a_moving_head_is_stopped_by_the_jog_cancel_and_no_feed_hold(moving_rig):
    """The 32-bit firmware ignores a feed hold in a jog."""
    rig = moving_rig
    rig.port.written.clear()

    rig.ask("stop")
    rig.wait(1.0)

    assert realtime.JOG_CANCEL in rig.port.written
    assert realtime.FEED_HOLD not in rig.port.written
    assert rig.shown_position()[0] < 100.0


def test_the_jog_cancel_is_written_for_moves_only(rig):
    """In any other state it would empty the 32-bit firmware's buffer."""
    _etch(rig)
    for wish in ("hold_now", "resume", "hold", "resume", "stop"):
        rig.ask(wish)
        rig.wait_until(lambda: rig.state in ("held", "etching", "ended"))
    rig.wait_for_the_end()

    assert realtime.JOG_CANCEL not in rig.port.written


@pytest.mark.slow
def test_a_reset_while_braking_loses_the_place_though_no_alarm_says_so(tmp_path):
    """The 32-bit firmware greets as idle then; steps may be lost all the same."""
    with GuardedRig(tmp_path, PracticeMachine(firmware="32-bit")) as rig:
        rig.start(rig.make_job(patch(14, 300)))
        rig.etch_until_row(4)
        rig.submit("hold_now")
        rig.wait_until(lambda: rig.machine.controller.engine.state.name == "HOLD")
        rig.port.heard.clear()

        rig.board.set_input("stop_circuit", level=False)
        rig.wait_for_the_end()
        rig.wait(0.5)

        assert b"ALARM" not in rig.port.heard
        assert rig.machine.controller.engine.state.name == "IDLE"
        assert "osition unknown" in rig.record.end["because"]


@pytest.mark.slow
@pytest.mark.parametrize("wish", ["hold", "hold_now"])
def test_in_constant_power_nothing_is_ever_resumed(rig, wish):
    """M3 stays dark after a hold at rest until the next move, though the parser calls it on."""
    folder = rig.make_job(patch(14, 300))
    rig.preflight.find("constant power", "acknowledge")
    rig.set_origin()
    rig.load(folder)
    rig.ask("start", acknowledge=["constant power"])
    rig.etch_until_row(4)

    rig.ask(wish)
    rig.wait_for_the_end()

    assert realtime.CYCLE_START not in rig.port.written


def test_the_byte_that_lights_the_beam_in_a_hold_cannot_be_written():
    """0x9E: at rest, in a hold, M3's power comes on (recorded)."""
    alone = b"".join(ORDERED_BYTES.values())
    for steps in (realtime.FEED_STEPS, realtime.POWER_STEPS):
        alone += b"".join(steps.values())

    assert LIGHTS_THE_BEAM_IN_A_HOLD not in alone
    assert LIGHTS_THE_BEAM_IN_A_HOLD not in PLAIN_BYTES
    with pytest.raises(UnfitLine):
        significant(b"X1\x9e")


def test_no_override_that_can_be_asked_for_is_put_together_with_it():
    percents = range(realtime.LOWEST_PERCENT, realtime.HIGHEST_PERCENT + 1)
    written = {
        byte
        for steps in (realtime.FEED_STEPS, realtime.POWER_STEPS)
        for now_percent in percents
        for requested_percent in percents
        for byte in realtime.override_steps(
            now_percent=now_percent, requested_percent=requested_percent, steps=steps
        )
    }

    assert bytes([LIGHTS_THE_BEAM_IN_A_HOLD]) not in written
    assert len(written) == 8
