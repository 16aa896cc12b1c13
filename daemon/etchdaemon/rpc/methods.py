"""What may be asked of the daemon: one table, from which calls are checked and people told."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, get_origin

from etchwire.errors import UnfitParameters, UnknownMethod

LARGEST: Final = 2**53  # beyond it JSON's readers disagree about whole numbers


class Right(StrEnum):
    """What a caller must be allowed to do."""

    OBSERVE = "observe"
    OPERATE = "operate"


class _Required:
    def __repr__(self) -> str:
        return "required"


REQUIRED: Final = _Required()


@dataclass(frozen=True, slots=True)
class Number:
    """A whole number that a method takes, and what it is when it is not given."""

    name: str
    otherwise: int | _Required | None = REQUIRED

    def value_in(self, params: Mapping[str, Any]) -> int | None:
        """Return the number given, or its stand-in; raise UnfitParameters."""
        value = params.get(self.name, self.otherwise)
        if isinstance(value, _Required):
            raise UnfitParameters("refused", f"the parameter {self.name!r} is missing")
        if value is None and self.otherwise is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= LARGEST:
            raise UnfitParameters(
                "refused", f"{self.name!r} must be a whole number from 0 on, not {value!r:.40}"
            )
        return value

    def __str__(self) -> str:
        """Return how the table shows it."""
        if self.otherwise is REQUIRED:
            return self.name
        return f"{self.name} = {'null' if self.otherwise is None else self.otherwise}"


@dataclass(frozen=True, slots=True)
class Word:
    """A parameter of another kind, and what it is when it is not given."""

    name: str
    kind: type[str] | type[bool] | type[dict[str, Any]] | type[list[str]]
    otherwise: Any = REQUIRED

    def value_in(self, params: Mapping[str, Any]) -> Any:
        """Return what was given, or its stand-in; raise UnfitParameters."""
        value = params.get(self.name, self.otherwise)
        if isinstance(value, _Required):
            raise UnfitParameters("refused", f"the parameter {self.name!r} is missing")
        is_fit = isinstance(value, get_origin(self.kind) or self.kind)
        if not is_fit or (isinstance(value, list) and not all(isinstance(v, str) for v in value)):
            said = f"{self.name!r} must be {_KINDS[self.kind]}, not {value!r:.40}"
            raise UnfitParameters("refused", said)
        return value

    def __str__(self) -> str:
        """Return how the table shows it."""
        if self.otherwise is REQUIRED:
            return self.name
        return f"{self.name} = {json.dumps(self.otherwise)}"


_KINDS: Final[Mapping[Any, str]] = {
    str: "a text",
    bool: "true or false",
    dict[str, Any]: "a table",
    list[str]: "a list of texts",
}


@dataclass(frozen=True, slots=True)
class Method:
    """One line of the table.

    `is_at_once`: answered ahead of everything else the caller waits for. `files`: how many open
    file descriptors come along.
    """

    name: str
    right: Right
    text: str
    parameters: tuple[Number | Word, ...] = ()
    is_at_once: bool = False
    files: tuple[str, ...] = ()

    def fit(self, params: Mapping[str, Any]) -> dict[str, Any]:
        """Return the parameters complete and of their types; raise UnfitParameters."""
        unknown = sorted(set(params) - {parameter.name for parameter in self.parameters})
        if unknown:
            raise UnfitParameters("refused", f"{self.name} takes no parameter {unknown[0]!r:.40}")
        return {parameter.name: parameter.value_in(params) for parameter in self.parameters}


_RUN: Final = Number("id")
_LIMIT: Final = Number("limit", 500)
_PERCENT: Final = Number("percent")
_ACKNOWLEDGE: Final = Word("acknowledge", list[str], otherwise=[])
_JOB: Final = ("gcode_fd", "sheet_fd")

METHODS: Final = (
    Method("status", Right.OBSERVE, "The snapshot: machine, job, run, and what may be asked now."),
    Method(
        "subscribe",
        Right.OBSERVE,
        "The snapshot, then `status` notifications: at most four a second, at least one.",
    ),
    Method("load", Right.OPERATE, "Take a job: copy, hash and check it.", files=_JOB),
    Method(
        "reenter",
        Right.OPERATE,
        "Load what is left of `run`; `confirm` is “tile and head have not moved” or “origin set"
        " again”, `row` the first that is not dark, by eye, where no cut was logged.",
        (Number("run"), Word("confirm", str), Number("row", None)),
    ),
    Method("unload", Right.OPERATE, "Put the job away."),
    Method(
        "arm",
        Right.OPERATE,
        "Begin arming: `answers` to the checklist by key; the loop is tested, then somebody shows"
        " at the machine that they are there.",
        (
            Word("answers", dict[str, Any]),
            Word("test_heartbeat", bool, otherwise=False),
            _ACKNOWLEDGE,
        ),
    ),
    Method("disarm", Right.OPERATE, "Undo arming."),
    Method(
        "start",
        Right.OPERATE,
        "Begin to etch the job, once armed; `acknowledge` names kinds of findings that were read.",
        (
            Word("acknowledge_long_run", bool, otherwise=False),
            Word("stays_until_end", str, otherwise=""),
            _ACKNOWLEDGE,
        ),
    ),
    Method("hold", Right.OPERATE, "Come to rest at the row's end.", is_at_once=True),
    Method("hold_now", Right.OPERATE, "Come to rest within the row.", is_at_once=True),
    Method("resume", Right.OPERATE, "Go on after a hold."),
    Method(
        "reset",
        Right.OPERATE,
        "Reset the trips a person was shown, by `names`; nothing starts by that.",
        (Word("names", list[str]),),
    ),
    Method("answer_round", Right.OPERATE, "Say that somebody is within reach."),
    Method("bed_touched", Right.OPERATE, "Ask the checklist's questions about the bed again."),
    Method(
        "set_feed",
        Right.OPERATE,
        "Change the speed of the etch; the power follows it.",
        (_PERCENT,),
    ),
    Method(
        "set_power",
        Right.OPERATE,
        "Change the power of the etch under way, in percent.",
        (_PERCENT,),
    ),
    Method("home", Right.OPERATE, "Begin to home a machine that has switches for it."),
    Method("unlock", Right.OPERATE, "Unlock a controller that has locked itself."),
    Method("set_origin", Right.OPERATE, "Take the head's place as the job's origin."),
    Method("stop", Right.OPERATE, "End the run; the beam goes out.", is_at_once=True),
    Method(
        "runs",
        Right.OBSERVE,
        "Runs, newest first, older than run `before`; `next_before` asks for more.",
        (Number("before", None), _LIMIT),
    ),
    Method(
        "run", Right.OBSERVE, "One run: sheet, end, and what was run beside the recipe.", (_RUN,)
    ),
    Method(
        "run_rows",
        Right.OBSERVE,
        "What was run in each row, from `from_row`; `next_row` asks for more.",
        (_RUN, Number("from_row", 0), _LIMIT),
    ),
    Method(
        "run_events",
        Right.OBSERVE,
        "Holds, resumes, faults, from behind event `after`; `next_after` asks for more.",
        (_RUN, Number("after", 0), _LIMIT),
    ),
)

AT_ONCE: Final = frozenset(method.name for method in METHODS if method.is_at_once)
_BY_NAME: Final = {method.name: method for method in METHODS}


def find_method(name: str) -> Method:
    """Return the method of that name; raise UnknownMethod."""
    try:
        return _BY_NAME[name]
    except KeyError:
        raise UnknownMethod("refused", f"there is no method {name!r:.40}") from None


def methods_table() -> str:
    """Return the table as DEVELOPERS.md shows it."""
    lines = ["| method | takes | may | does |", "| --- | --- | --- | --- |"]
    for method in METHODS:
        takes = ", ".join([*map(str, method.parameters), *method.files]) or "–"
        lines.append(f"| `{method.name}` | {takes} | {method.right} | {method.text} |")
    return "\n".join(lines)
