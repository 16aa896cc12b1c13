"""What a person may have the controller do between runs, and when: a table."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from etchdaemon.controller import controller_command as chore
from etchdaemon.controller.controller_command import ControllerCommand
from etchdaemon.controller.facts import Facts
from etchdaemon.errors import CommandRefused

_HOMING_PATIENCE_S: Final = 120.0
PATIENCE_S: Final = 3.0
SET_ORIGIN: Final = "set_origin"


@dataclass(frozen=True, slots=True)
class CommandKind:
    """One chore: its lines, how long it may take, and when it makes sense."""

    lines: tuple[bytes, ...]
    patience_s: float
    is_fit: Callable[[Facts], bool]
    not_now: str


CONTROLLER_COMMANDS: Final[Mapping[str, CommandKind]] = {
    "home": CommandKind(
        (chore.HOME,),
        _HOMING_PATIENCE_S,
        lambda facts: facts.was_questioned and facts.settings.can_home,
        "This machine has no switches to home by, or is not at rest.",
    ),
    "unlock": CommandKind(
        (chore.UNLOCK,),
        PATIENCE_S,
        lambda facts: facts.was_questioned and facts.can_unlock,
        "The controller is not locked.",
    ),
    SET_ORIGIN: CommandKind(
        chore.SET_ORIGIN,
        PATIENCE_S,
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
    """Return the chore of that name; raise CommandRefused where it makes no sense now."""
    kind = CONTROLLER_COMMANDS[name]
    if facts is None or facts.firmware is None or not kind.is_fit(facts):
        raise CommandRefused(kind.not_now)
    return ControllerCommand(kind.lines, facts.firmware, kind.patience_s)
