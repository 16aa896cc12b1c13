"""What a person may ask of the box's interlocks, and when: a table."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from etchdaemon.interlocks.rules.rule_table import Phase
from etchdaemon.ports import BoxOperator
from etchdaemon.run.states import State
from etchwire.interlock_report import InterlockReport

CAN_BE_ARMED: Final = frozenset((State.LOADED, State.ENDED))
Arguments = Mapping[str, Any]


def arm(box: BoxOperator, arguments: Arguments, day: str) -> None:
    """Begin arming, once the controller's beam was seen to be off; raise CommandRefused."""
    box.arm(arguments["answers"], day=day, with_heartbeat_test=bool(arguments["test_heartbeat"]))


INTERLOCK_COMMANDS: Final[Mapping[str, Callable[[BoxOperator, Arguments, str], None]]] = {
    "disarm": lambda box, _arguments, _day: box.disarm(),
    "reset": lambda box, arguments, _day: box.reset(arguments["names"]),
    "answer_round": lambda box, _arguments, _day: box.answer_round(),
    "try_output": lambda box, said, _day: box.try_output(said["name"], is_on=said["on"]),
    "bed_touched": lambda box, _arguments, _day: box.note_bed_touched(),
}


def interlock_commands_in(
    state: State, report: InterlockReport, *, is_machine_ready: bool
) -> list[str]:
    """Return what may be asked of the box now, by its own report."""
    is_disarmed = report.phase == Phase.IDLE.value and not report.arming.is_under_way
    can_be_armed = state in CAN_BE_ARMED and is_machine_ready
    may = {
        "arm": can_be_armed and is_disarmed and report.arming.is_possible,
        "disarm": not is_disarmed and report.phase != Phase.ETCHING.value,
        "reset": bool(report.trips),
        "answer_round": report.asked_for is not None,
    }
    return [name for name, is_possible in may.items() if is_possible]
