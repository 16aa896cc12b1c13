"""What is known of a controller after its opening dialogue, and whether it is fit to etch."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Self

from etchdaemon.controller.events import (
    BuildReported,
    Event,
    OffsetReported,
    ParserStateReported,
    Place,
    SettingReported,
    StatusReported,
    VersionReported,
)
from etchdaemon.controller.firmware import Firmware
from etchdaemon.controller.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """The answers of one controller; what it did not say is None or empty."""

    firmware: Firmware | None
    greeting: str
    report: StatusReported
    version: str = ""
    build: BuildReported | None = None
    settings: Settings = field(default_factory=Settings)
    parser: ParserStateReported | None = None
    origins_mm: Mapping[str, Place] = field(default_factory=dict)

    @property
    def can_unlock(self) -> bool:
        """Whether it is locked, so that only a person may home or unlock it."""
        return self.report.state == "Alarm"

    @property
    def was_questioned(self) -> bool:
        """Whether it could be asked: of a known firmware, and in a state that answers."""
        return self.firmware is not None and self.report.state in ("Idle", "Alarm")

    def with_answer(self, event: Event) -> Self:
        """Return these facts with what `event` adds."""
        match event:
            case SettingReported(number=number, value=value):
                values = {**self.settings.values, number: value}
                return replace(self, settings=Settings(values))
            case BuildReported():
                return replace(self, build=event)
            case VersionReported(text=text):
                return replace(self, version=text)
            case ParserStateReported():
                return replace(self, parser=event)
            case OffsetReported(name=name, place_mm=place_mm):
                return replace(self, origins_mm={**self.origins_mm, name: place_mm})
        return self


@dataclass(frozen=True, slots=True)
class Objection:
    """One reason not to etch with a controller, and what to do about it."""

    name: str
    holds: Callable[[Facts], bool]
    sentence: str


REFUSALS: Final = (
    Objection(
        "firmware unknown",
        lambda facts: facts.firmware is None,
        "The controller runs a firmware that this program does not know; it needs version 1.1.",
    ),
    Objection(
        "door open",
        lambda facts: facts.report.state == "Door",
        "The controller says that the lid is open. Close it.",
    ),
    Objection(
        "alarm at power-up",
        lambda facts: facts.can_unlock,
        "The controller is locked. Home the machine, or unlock it and set the origin by hand.",
    ),
    Objection(
        "not at rest",
        lambda facts: facts.report.state not in ("Idle", "Alarm", "Door"),
        "The controller is busy with something of its own. Switch it off and on.",
    ),
    Objection(
        "buffer unknown",
        lambda facts: facts.was_questioned and facts.build is None,
        "The controller does not say how much it can take at once. Switch it off and on.",
    ),
    Objection(
        "not in laser mode",
        lambda facts: facts.was_questioned and not facts.settings.is_laser_mode,
        "The controller is not in laser mode: the beam would burn on where the head stands still."
        " Set its setting 32 to 1.",
    ),
    Objection(
        "reports in inches",
        lambda facts: facts.was_questioned and facts.settings.is_in_inches,
        "The controller reports in inches. Set its setting 13 to 0.",
    ),
    Objection(
        "max S unknown",
        lambda facts: facts.was_questioned and not (facts.settings.max_s or 0) > 0,
        "The controller does not say what full power is. Check its setting 30.",
    ),
    Objection(
        "beam on",
        lambda facts: (
            facts.was_questioned and (facts.parser is None or not facts.parser.is_beam_off)
        ),
        "The controller does not say that the beam is off. Switch the laser off, then the"
        " controller off and on.",
    ),
)

WARNINGS: Final = (
    Objection(
        "motors released at rest",
        lambda facts: facts.settings.releases_motors_at_rest,
        "The motors let go whenever the head rests, so it may slip between rows."
        " Set the controller's setting 1 to 255.",
    ),
    Objection(
        "planner not reported",
        lambda facts: not facts.settings.reports_buffers,
        "The controller does not report how full its planner is, so stutter cannot be counted."
        " Set its setting 10 to 3.",
    ),
)


def refusals(facts: Facts) -> tuple[str, ...]:
    """Return why `facts` forbid etching, in table order; empty when nothing does."""
    return tuple(rule.sentence for rule in REFUSALS if rule.holds(facts))


def warnings(facts: Facts) -> tuple[str, ...]:
    """Return what a person should know about a controller that may etch all the same."""
    if not facts.was_questioned:
        return ()
    return tuple(rule.sentence for rule in WARNINGS if rule.holds(facts))
