"""What can be expected in a scenario: one table, each a look that tells what is seen instead."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from etchpractice.scenario.observation import Observation
from etchwire.calls.snapshot import Snapshot

Value = Any  # what a scenario expects: a text or a list of texts, as its subject says
Compare = Callable[[Observation, Value], str | None]


@dataclass(frozen=True, slots=True)
class Subject:
    """Something that can be expected: which values fit, how it is said, and how it is seen.

    `look` returns None where an observation is as expected, else what is seen instead.
    """

    fits: type | Sequence[str]
    said: str
    look: Compare

    def values_text(self) -> str:
        """Return which values fit, in words."""
        if isinstance(self.fits, type):
            return _KINDS[self.fits]
        return "one of " + ", ".join(f"“{word}”" for word in self.fits)

    def takes(self, value: object) -> bool:
        """Return whether `value` can be expected."""
        if self.fits is list:
            return isinstance(value, list) and all(isinstance(one, str) for one in value)
        if isinstance(self.fits, type):
            return isinstance(value, self.fits)
        return value in self.fits


@dataclass(frozen=True, slots=True)
class Expectation:
    """What must be seen."""

    subject: Subject
    value: Value

    def amiss(self, observation: Observation) -> str | None:
        """Return what is seen instead, None where all is as expected."""
        return self.subject.look(observation, self.value)

    def __str__(self) -> str:
        """Return what is expected, in words."""
        value = ", ".join(self.value) or "nothing" if isinstance(self.value, list) else self.value
        return self.subject.said.format(value)


_KINDS: Final[Mapping[type, str]] = {str: "a text", list: "a list of texts"}


def _same(found: Callable[[Observation], str | None], said: str) -> Compare:
    def look(observation: Observation, value: Value) -> str | None:
        seen = found(observation)
        return None if seen == value else said.format(_text_of(seen))

    return look


def _contains(found: Callable[[Observation], str | None], said: str) -> Compare:
    def look(observation: Observation, value: str) -> str | None:
        seen = found(observation)
        return None if seen is not None and value in seen else said.format(seen or "nothing")

    return look


def _text_of(seen: Sequence[str] | str | None) -> str:
    return ", ".join(seen) or "nothing" if isinstance(seen, (list, tuple)) else f"{seen}"


def _because(observation: Observation) -> str | None:
    run = None if observation.status is None else observation.status.run
    return None if run is None else run.because or run.held_because


def _of_status(found: Callable[[Snapshot], str | None]) -> Callable[[Observation], str | None]:
    """Return what is `found` in a snapshot, None where no daemon answers."""
    return lambda observation: None if observation.status is None else found(observation.status)


def _ended(status: Snapshot) -> str | None:
    return None if status.run is None else status.run.ended


def _verdict(status: Snapshot) -> str | None:
    return None if status.job is None else status.job.preflight.verdict


def _offered(observation: Observation, value: Sequence[str]) -> str | None:
    missing = [name for name in value if name not in observation.may]
    return f"“{missing[0]}” is not offered" if missing else None


def _not_offered(observation: Observation, value: Sequence[str]) -> str | None:
    offered = [name for name in value if name in observation.may]
    return f"“{offered[0]}” is offered" if offered else None


def _tripped(observation: Observation, value: Sequence[str]) -> str | None:
    return None if observation.trips == sorted(value) else f"tripped: {_text_of(observation.trips)}"


def _on_off(name: str) -> Callable[[Observation], str]:
    return lambda observation: "on" if observation.machine.outputs[name] else "off"


def _safety_relay(observation: Observation) -> str:
    return "set" if observation.machine.is_safety_relay_set else "fallen"


def _noted(observation: Observation, value: str) -> str | None:
    notes = observation.look_at_notes()
    return None if any(value in note for note in notes) else f"noted: {_text_of(notes)}"


def _told(observation: Observation, value: str) -> str | None:
    alerts = observation.look_at_alerts()
    return None if any(value in alert for alert in alerts) else f"told: {_text_of(alerts)}"


def _rows(observation: Observation, _value: str) -> str | None:
    return observation.look_at_rows()


def _tile(observation: Observation, value: Sequence[str]) -> str | None:
    seen = observation.look_at_tile()
    return None if sorted(seen) == sorted(value) else f"it is: {_text_of(seen)}"


_STATES: Final = (
    "starting", "idle", "loaded", "armed", "etching", "holding", "held", "resuming", "stopping",
    "ended",
)  # fmt: skip

EXPECTATIONS: Final[Mapping[str, Subject]] = {
    "beam": Subject(
        ("on", "off"), "the beam is {}",
        _same(
            lambda observation: "on" if observation.machine.has_beam else "off", "the beam is {}"
        ),
    ),
    "contact": Subject(
        ("on", "off"), "the beam's contact is told to be {}",
        _same(_on_off("beam_enable"), "it is told to be {}"),
    ),
    "safety_relay": Subject(
        ("set", "fallen"), "the safety relay (K1) is {}",
        _same(_safety_relay, "it is {}"),
    ),
    "extraction": Subject(
        ("on", "off"), "the extraction is {}", _same(_on_off("extraction"), "it is {}")
    ),
    "buzzer": Subject(("on", "off"), "the buzzer is {}", _same(_on_off("buzzer"), "it is {}")),
    "head": Subject(
        ("at rest", "moving"), "the head is {}",
        _same(
            lambda observation: "moving" if observation.machine.is_moving else "at rest", "it is {}"
        ),
    ),
    "state": Subject(
        _STATES, "the etch is {}",
        _same(_of_status(lambda status: status.state), "it is {}"),
    ),
    "ended": Subject(
        ("complete", "stopped", "failed"), "the run ended {}",
        _same(_of_status(_ended), "its end is: {}"),
    ),
    "because": Subject(str, "the reason says “{}”", _contains(_because, "the reason says: {}")),
    "trips": Subject(list, "tripped: {}", _tripped),
    "machine": Subject(
        ("absent", "opening", "ready", "refused", "lost"), "the controller is {}",
        _same(_of_status(lambda status: status.machine.link), "it is {}"),
    ),
    "says": Subject(
        str, "of the controller it is said “{}”",
        _contains(_of_status(lambda status: status.machine.sentence), "it is said: {}"),
    ),
    "check": Subject(
        ("ready", "acknowledge", "refused"), "the check of the file says: {}",
        _same(_of_status(_verdict), "it says: {}"),
    ),
    "may": Subject(list, "offered: {}", _offered),
    "may_not": Subject(list, "not offered: {}", _not_offered),
    "refused": Subject(
        str, "it is refused with “{}”",
        _contains(lambda observation: observation.refusal, "it was refused with: {}"),
    ),
    "logbook": Subject(
        str, "of the logbook it is said “{}”",
        _contains(_of_status(lambda status: status.logbook_trouble or "well"), "it is said: {}"),
    ),
    "board": Subject(
        str, "of the box's board it is said “{}”",
        _contains(
            _of_status(lambda status: status.interlocks.board_trouble or "well"), "it is said: {}"
        ),
    ),
    "asked": Subject(
        str, "somebody is asked: “{}”",
        _contains(
            _of_status(lambda status: status.interlocks.asked_for or "nothing"),
            "what is asked: {}",
        ),
    ),
    "told": Subject(str, "with no page open, somebody is told “{}”", _told),
    "lacks": Subject(
        str, "of what is not wired it is said “{}”",
        _contains(
            _of_status(lambda status: " ".join(status.interlocks.lacks)), "it is said: {}"
        ),
    ),
    "noted": Subject(str, "the logbook has a note “{}”", _noted),
    "rows": Subject(("each once",), "on the tile, every row is burnt: {}", _rows),
    "tile": Subject(list, "the wiped tile is: {}", _tile),
    "daemon": Subject(
        ("there", "gone"), "the daemon is {}",
        _same(lambda observation: "gone" if observation.status is None else "there", "it is {}"),
    ),
}  # fmt: skip
