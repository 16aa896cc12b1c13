"""What can be expected in a scenario: one table, each a look that tells what is seen instead."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from etchpractice.scenario.observation import Sight

Look = Callable[[Sight, Any], str | None]


@dataclass(frozen=True, slots=True)
class Subject:
    """Something that can be expected: which values fit, how it is said, and how it is seen.

    `look` returns None where a sight is as expected, else what is seen instead.
    """

    fits: type | Sequence[str]
    said: str
    look: Look

    def wanted(self) -> str:
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
    value: Any

    def amiss(self, sight: Sight) -> str | None:
        """Return what is seen instead, None where all is as expected."""
        return self.subject.look(sight, self.value)

    def __str__(self) -> str:
        """Return what is expected, in words."""
        value = ", ".join(self.value) or "nothing" if isinstance(self.value, list) else self.value
        return self.subject.said.format(value)


_KINDS: Final[Mapping[type, str]] = {str: "a text", list: "a list of texts"}


def _same(found: Callable[[Sight], Any], said: str) -> Look:
    def look(sight: Sight, value: Any) -> str | None:
        seen = found(sight)
        return None if seen == value else said.format(_shown(seen))

    return look


def _contains(found: Callable[[Sight], str | None], said: str) -> Look:
    def look(sight: Sight, value: str) -> str | None:
        seen = found(sight)
        return None if seen is not None and value in seen else said.format(seen or "nothing")

    return look


def _shown(seen: Any) -> str:
    return ", ".join(seen) or "nothing" if isinstance(seen, (list, tuple)) else f"{seen}"


def _because(sight: Sight) -> str | None:
    run = sight.run
    return run.get("because") or run.get("held_because")


def _offered(sight: Sight, value: Sequence[str]) -> str | None:
    missing = [name for name in value if name not in sight.may]
    return f"“{missing[0]}” is not offered" if missing else None


def _not_offered(sight: Sight, value: Sequence[str]) -> str | None:
    offered = [name for name in value if name in sight.may]
    return f"“{offered[0]}” is offered" if offered else None


def _tripped(sight: Sight, value: Sequence[str]) -> str | None:
    return None if sight.trips == sorted(value) else f"tripped: {_shown(sight.trips)}"


def _on_off(name: str) -> Callable[[Sight], str]:
    return lambda sight: "on" if sight.machine["outputs"][name] else "off"


def _noted(sight: Sight, value: str) -> str | None:
    notes = sight.look_at_notes()
    return None if any(value in note for note in notes) else f"noted: {_shown(notes)}"


def _told(sight: Sight, value: str) -> str | None:
    alerts = sight.look_at_alerts()
    return None if any(value in alert for alert in alerts) else f"told: {_shown(alerts)}"


def _rows(sight: Sight, _value: str) -> str | None:
    return sight.look_at_rows()


_STATES: Final = (
    "starting", "idle", "loaded", "armed", "etching", "holding", "held", "resuming", "stopping",
    "ended",
)  # fmt: skip

EXPECTATIONS: Final[Mapping[str, Subject]] = {
    "beam": Subject(
        ("on", "off"), "the beam is {}",
        _same(lambda sight: "on" if sight.has_beam else "off", "the beam is {}"),
    ),
    "contact": Subject(
        ("on", "off"), "the beam's contact is told to be {}",
        _same(_on_off("beam_enable"), "it is told to be {}"),
    ),
    "safety_relay": Subject(
        ("set", "fallen"), "the safety relay (K1) is {}",
        _same(
            lambda sight: "set" if sight.machine["is_safety_relay_set"] else "fallen", "it is {}"
        ),
    ),
    "extraction": Subject(
        ("on", "off"), "the extraction is {}", _same(_on_off("extraction"), "it is {}")
    ),
    "buzzer": Subject(("on", "off"), "the buzzer is {}", _same(_on_off("buzzer"), "it is {}")),
    "head": Subject(
        ("at rest", "moving"), "the head is {}",
        _same(lambda sight: "moving" if sight.is_moving else "at rest", "it is {}"),
    ),
    "state": Subject(
        _STATES, "the etch is {}",
        _same(lambda sight: (sight.status or {}).get("state"), "it is {}"),
    ),
    "ended": Subject(
        ("complete", "stopped", "failed"), "the run ended {}",
        _same(lambda sight: sight.run.get("ended"), "its end is: {}"),
    ),
    "because": Subject(str, "the reason says “{}”", _contains(_because, "the reason says: {}")),
    "trips": Subject(list, "tripped: {}", _tripped),
    "machine": Subject(
        ("absent", "opening", "ready", "refused", "lost"), "the controller is {}",
        _same(lambda sight: ((sight.status or {}).get("machine") or {}).get("link"), "it is {}"),
    ),
    "says": Subject(
        str, "of the controller it is said “{}”",
        _contains(
            lambda sight: ((sight.status or {}).get("machine") or {}).get("sentence"),
            "it is said: {}",
        ),
    ),
    "check": Subject(
        ("ready", "acknowledge", "refused"), "the check of the file says: {}",
        _same(
            lambda sight: (((sight.status or {}).get("job") or {}).get("preflight") or {}).get(
                "verdict"
            ),
            "it says: {}",
        ),
    ),
    "may": Subject(list, "offered: {}", _offered),
    "may_not": Subject(list, "not offered: {}", _not_offered),
    "refused": Subject(
        str, "it is refused with “{}”",
        _contains(lambda sight: sight.refusal, "it was refused with: {}"),
    ),
    "logbook": Subject(
        str, "of the logbook it is said “{}”",
        _contains(
            lambda sight: (sight.status or {}).get("logbook_trouble") or "well", "it is said: {}"
        ),
    ),
    "board": Subject(
        str, "of the box's board it is said “{}”",
        _contains(
            lambda sight: ((sight.status or {}).get("interlocks") or {}).get("board_trouble")
            or "well",
            "it is said: {}",
        ),
    ),
    "asked": Subject(
        str, "somebody is asked: “{}”",
        _contains(
            lambda sight: (
                ((sight.status or {}).get("interlocks") or {}).get("asked_for") or "nothing"
            ),
            "what is asked: {}",
        ),
    ),
    "told": Subject(str, "with no page open, somebody is told “{}”", _told),
    "lacks": Subject(
        str, "of what is not wired it is said “{}”",
        _contains(
            lambda sight: " ".join(((sight.status or {}).get("interlocks") or {}).get("lacks", ())),
            "it is said: {}",
        ),
    ),
    "noted": Subject(str, "the logbook has a note “{}”", _noted),
    "rows": Subject(("each once",), "on the tile, every row is burnt: {}", _rows),
    "daemon": Subject(
        ("there", "gone"), "the daemon is {}",
        _same(lambda sight: "gone" if sight.status is None else "there", "it is {}"),
    ),
}  # fmt: skip
