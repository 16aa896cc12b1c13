"""The commands that the controller takes between runs, and when: a table."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from etchdaemon.controller import controller_command
from etchdaemon.controller.controller_command import ControllerCommand
from etchdaemon.controller.facts import Facts
from etchdaemon.errors import CommandRefused

_HOMING_TIMEOUT_S: Final = 120.0
TIMEOUT_S: Final = 3.0
SET_ORIGIN: Final = "set_origin"


@dataclass(frozen=True, slots=True)
class CommandKind:
    """One command: its lines, its time limit, and when it can be given."""

    lines: tuple[bytes, ...]
    timeout_s: float
    is_fit: Callable[[Facts], bool]
    not_now: str


CONTROLLER_COMMANDS: Final[Mapping[str, CommandKind]] = {
    "home": CommandKind(
        (controller_command.HOME,),
        _HOMING_TIMEOUT_S,
        lambda facts: facts.was_questioned and facts.settings.can_home,
        "This machine has no switches to home by, or is not at rest.",
    ),
    "unlock": CommandKind(
        (controller_command.UNLOCK,),
        TIMEOUT_S,
        lambda facts: facts.was_questioned and facts.can_unlock,
        "The controller is not locked.",
    ),
    SET_ORIGIN: CommandKind(
        controller_command.SET_ORIGIN,
        TIMEOUT_S,
        lambda facts: facts.was_questioned and facts.report.is_idle,
        "The origin can be set only while the machine is unlocked and at rest.",
    ),
}


def commands_for(facts: Facts | None) -> tuple[str, ...]:
    """Return the names of what may be asked of a controller known by `facts`, at rest."""
    if facts is None:
        return ()
    return tuple(name for name, kind in CONTROLLER_COMMANDS.items() if kind.is_fit(facts))


def command_for(name: str, facts: Facts | None) -> ControllerCommand:
    """Return the sequence of the command `name`; raise CommandRefused when it cannot run now."""
    kind = CONTROLLER_COMMANDS[name]
    if facts is None or facts.firmware is None or not kind.is_fit(facts):
        raise CommandRefused(kind.not_now)
    return ControllerCommand(kind.lines, facts.firmware, kind.timeout_s)
