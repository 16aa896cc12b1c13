"""What goes wrong with a link in mid-run: the fault table, for tests and soaks alike."""

from collections.abc import Callable
from dataclasses import dataclass

from rig.bench import Rig

MENDED = None  # by what the daemon does itself


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbance:
    """One row of the table: what is done, what a person is told, and how it is put right.

    `seen_within_s` is how long it may take until the daemon can know of it; from then on the
    beam has to be out at once.
    """

    name: str
    begin: Callable[[Rig], object]
    says: str
    seen_within_s: float
    mend: Callable[[Rig], object] | None = MENDED
    keeps_place: bool = False
    burns_a_spot: bool = False  # until it is seen: the outputs stay as they were
    leaves_a_port: bool = True  # without one the head goes on with what the controller has


DISTURBANCES = (
    Disturbance(
        name="unplugged",
        begin=lambda rig: rig.machine.unplug(),
        says="gone",
        seen_within_s=0.01,
        leaves_a_port=False,
        mend=lambda rig: rig.machine.plug_in(),
    ),
    Disturbance(
        name="restarted",
        begin=lambda rig: rig.machine.reset_now(),
        says="restarted by itself",
        seen_within_s=0.1,
    ),
    Disturbance(
        name="brown-out",
        begin=lambda rig: rig.machine.brown_out(),
        says="osition unknown",
        seen_within_s=0.2,
    ),
    Disturbance(
        name="silent",
        begin=lambda rig: rig.machine.fall_silent(),
        says="answers nothing any more",
        seen_within_s=1.3,  # five requests
        mend=lambda rig: rig.machine.speak_again(),
    ),
    Disturbance(
        name="hung",
        begin=lambda rig: rig.machine.hang(),
        says="answers nothing any more",
        seen_within_s=1.3,
        burns_a_spot=True,
        mend=lambda rig: rig.machine.reset_now(),
    ),
    Disturbance(
        name="lost reply",
        begin=lambda rig: rig.machine.faults.lose_next_reply(),
        says="the last answer did not come",
        seen_within_s=60.0,  # when all others are answered and the machine stands idle
        keeps_place=True,
    ),
    Disturbance(
        name="no replies",
        begin=lambda rig: rig.machine.faults.withhold_replies(),
        says="owes an answer",
        seen_within_s=2.0,  # the lines it has, and two idle reports a second apart
        mend=lambda rig: rig.machine.release_replies(),
        keeps_place=True,
    ),
    Disturbance(
        name="extra reply",
        begin=lambda rig: rig.machine.extra_reply(),
        says="the cable is disturbed",
        seen_within_s=60.0,  # when the controller's free bytes or the last reply contradict
        keeps_place=True,
    ),
    Disturbance(
        name="refused line",
        begin=lambda rig: rig.machine.faults.refuse_next_line(20),
        says="a code that this controller",
        seen_within_s=0.1,  # the next line is read when the run-up before it is done: 67 ms
        keeps_place=True,
    ),
    Disturbance(
        name="line that no firmware knows",
        begin=lambda rig: setattr(rig.port, "damage", (b"X.1S600\n", b"X.1W600\n")),
        says="The line was 'X.1S600'",
        seen_within_s=0.5,  # it stands behind a full window, and a full planner
        mend=lambda rig: setattr(rig.port, "damage", None),
        keeps_place=True,
    ),
    Disturbance(
        name="alarm",
        begin=lambda rig: rig.machine.trip_alarm(1),
        says="limit switch",
        seen_within_s=0.05,
    ),
    Disturbance(
        name="door",
        begin=lambda rig: rig.machine.open_door_pin(),
        says="lid",
        seen_within_s=0.3,  # the next report
        mend=lambda rig: rig.machine.close_door_pin(),
        keeps_place=True,
    ),
    Disturbance(
        name="garbled reply",
        begin=lambda rig: rig.machine.faults.garble_next_reply(),
        says="damaged",
        seen_within_s=0.1,  # the next line is read when the run-up before it is done: 67 ms
        keeps_place=True,
    ),
    Disturbance(
        name="noise",
        begin=lambda rig: rig.machine.send_noise(1000),
        says="the cable is disturbed",
        seen_within_s=0.3,
        keeps_place=True,
    ),
    Disturbance(
        name="five seconds late",
        begin=lambda rig: rig.machine.delay_replies(5.0),
        says="answers nothing any more",
        seen_within_s=1.3,
        mend=lambda rig: rig.machine.delay_replies(0.0),
    ),
    Disturbance(
        name="write blocks",
        begin=lambda rig: setattr(rig.port, "is_blocked", True),
        says="takes no more bytes",
        seen_within_s=0.3,
        leaves_a_port=False,
        mend=lambda rig: setattr(rig.port, "is_blocked", False),
    ),
)


def make_usable(rig: Rig) -> None:
    """Do what a person does before the next run: unlock, set the origin, arm."""
    rig.wait_until(lambda: rig.link in ("ready", "refused"), within_s=30.0)
    if "unlock" in rig.commands.snapshot().may:
        rig.ask("unlock")
    rig.wait_until(lambda: rig.link == "ready", within_s=30.0)
    rig.ask("set_origin")
    rig.get_ready()
    rig.show_somebody()
    rig.wait_until(lambda: "start" in rig.commands.snapshot().may)
