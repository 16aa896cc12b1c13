"""What a person may ask of the box's interlocks, and when: a table."""

from collections.abc import Callable, Mapping
from typing import Final

from etchdaemon.interlocks.rules.rule_table import Phase
from etchdaemon.run.states import State
from etchwire.calls.call import AnyCall
from etchwire.calls.interlock_report import InterlockReport
from etchwire.calls.machine import AnswerRound, BedTouched, Disarm, Reset, TryOutput

CAN_BE_ARMED: Final = frozenset((State.LOADED, State.ENDED))
INTERLOCK_COMMANDS: Final[Mapping[type[AnyCall], Callable[..., None]]] = {
    Disarm: lambda box, _call: box.disarm(),
    Reset: lambda box, call: box.reset(call.names),
    AnswerRound: lambda box, _call: box.answer_round(),
    TryOutput: lambda box, call: box.try_output(call.name, is_on=call.on),
    BedTouched: lambda box, _call: box.note_bed_touched(),
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
