"""The questions before a start, each asked as often as its answer can change."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, TypeGuard

from etchdaemon.errors import CommandRefused

Answer = bool | float | str


class HowOften(StrEnum):
    """How long an answer stays true."""

    DAY = "day"  # asked again on the next day
    BED = "bed"  # asked again when the bed was touched, and after every start of the box
    TILE = "tile"  # asked before every run


class AnswerKind(StrEnum):
    """The kinds of answer."""

    CONFIRMATION = "confirmation"
    CHOICE = "choice"
    HOURS = "hours"


@dataclass(frozen=True, slots=True)
class Question:
    """One line of the checklist."""

    key: str
    how_often: HowOften
    text: str
    kind: AnswerKind = AnswerKind.CONFIRMATION
    choices: tuple[str, ...] = ()


_DAY, _BED, _TILE = HowOften.DAY, HowOften.BED, HowOften.TILE

# No drying time has a published source, so a person states the hours and that the paint is dry.
QUESTIONS: Final = (
    Question("extinguisher", _DAY, "A fire extinguisher is within reach."),
    Question("lens", _DAY, "The lens is wiped and looked at."),
    Question("filter", _DAY, "The extraction's filter is in and not spent."),
    Question(
        "focus", _BED, "The focus is set; how?", AnswerKind.CHOICE,
        ("spacer", "ramp burn", "by eye"),
    ),
    Question("under the tile", _BED, "Nothing lies under or beside the tile."),
    Question("cloths and tins", _BED, "Cloths, tins and solvent are out of the box."),
    Question("clean", _TILE, "The tile is clean and lies firmly."),
    Question("even", _TILE, "The coat is even."),
    Question(
        "coated hours ago", _TILE, "How many hours ago was it coated last?", AnswerKind.HOURS
    ),
    Question("dry", _TILE, "Paint and solvent are dry, with no smell left."),
)  # fmt: skip
_BY_KEY: Final = {question.key: question for question in QUESTIONS}
_MOST_HOURS: Final = 24.0 * 366


@dataclass(frozen=True, slots=True)
class GivenAnswer:
    """An answer, and the day and bed for which it was given."""

    answer: Answer
    day: str
    bed: int


class Checklist:
    """The answers given so far, and which of them still hold."""

    def __init__(self) -> None:
        self._given: dict[str, GivenAnswer] = {}
        self._bed = 0

    def note_bed_touched(self) -> None:
        """Ask the questions about the bed again."""
        self._bed += 1

    def note_run_started(self) -> None:
        """Ask the questions about the tile again: the next run is on another."""
        for question in QUESTIONS:
            if question.how_often is HowOften.TILE:
                self._given.pop(question.key, None)

    def open_questions(self, day: str) -> tuple[Question, ...]:
        """Return what has to be asked on `day` (any text that changes daily), in table order."""
        return tuple(question for question in QUESTIONS if not self._is_answered(question, day))

    def answer(self, answers: Mapping[str, object], day: str) -> None:
        """Take `answers` by key; raise CommandRefused, and take none, if one of them is invalid."""
        valid = {key: _valid_answer(key, value) for key, value in answers.items()}
        self._given |= {key: GivenAnswer(value, day, self._bed) for key, value in valid.items()}

    def record(self) -> dict[str, Answer]:
        """Return every answer in force, for the run's record."""
        return {key: given.answer for key, given in self._given.items()}

    def _is_answered(self, question: Question, day: str) -> bool:
        given = self._given.get(question.key)
        if given is None:
            return False
        if question.how_often is HowOften.DAY:
            return given.day == day
        return question.how_often is HowOften.TILE or given.bed == self._bed


def _valid_answer(key: str, value: object) -> Answer:
    question = _BY_KEY.get(key)
    if question is None:
        raise CommandRefused(f"“{key}” is not a question of the checklist.")
    if question.kind is AnswerKind.CONFIRMATION and value is True:
        return True
    if question.kind is AnswerKind.CHOICE and isinstance(value, str) and value in question.choices:
        return value
    if question.kind is AnswerKind.HOURS and _is_hours(value):
        return float(value)
    raise CommandRefused(f"“{question.text}” needs {_expected(question)}, not {value!r}.")


def _is_hours(value: object) -> TypeGuard[float]:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return is_number and 0 <= value <= _MOST_HOURS  # type: ignore[operator]


def _expected(question: Question) -> str:
    return {
        AnswerKind.CONFIRMATION: "a yes",
        AnswerKind.CHOICE: "one of " + ", ".join(question.choices),
        AnswerKind.HOURS: "a number of hours",
    }[question.kind]
