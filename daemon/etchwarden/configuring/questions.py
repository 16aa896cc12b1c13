"""Questions and answers: from a person, or from a file of answers."""

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Final

import click

from etchwarden.configuring.checking import faults_of, unfit_so_far
from etchwarden.configuring.entries import SECTIONS, AnswerKind, FileEntry, FileSection
from etchwarden.configuring.writing import Answers
from etchwire.configuration.faults import FaultyConfiguration, Reason
from etchwire.toml_text import nearest

YES: Final = {"yes": True, "y": True, "no": False, "n": False}
# Nothing to ask about pins where there is no chip to have them.
NEEDS_CHIP: Final = ("inputs", "outputs")
MOST_EMPTY_ANSWERS: Final = 3

PORT: Final = "machine.port"
# Where one answer made another unfit, both are asked again.
ASKED_TOGETHER: Final = {Reason.HALF_A_WINDOW: ("pressure_above_low", "pressure_below_high")}

Answer = str | int | float | bool
Ask = Callable[[str, str | None], str]


@dataclass(frozen=True, slots=True)
class Person:
    """Who answers, and the ports that were shown to them."""

    ask: Ask
    say: Callable[[str], None]
    ports: Sequence[str]

    def port_of(self, typed: str) -> str:
        """Return the port that was typed, or named by its number."""
        number = typed.strip()
        is_one = number.isdecimal() and 1 <= int(number) <= len(self.ports)
        return self.ports[int(number) - 1] if is_one else typed


class UnfitAnswer(ValueError):
    """An answer is not what was asked for; the message says what would be."""


class NobodyAnswers(click.ClickException):
    """One question was answered by empty lines only, and not by a person."""


def answers_of_person(
    ask: Ask, say: Callable[[str], None], ports: Sequence[str] = ()
) -> dict[str, Answer]:
    """Ask question after question, again where an answer is unfit.

    One of `ports` may be named by its number, counted from one.
    """
    answers: dict[str, Answer] = {}
    for section, entry in _asked():
        if not _is_needless(section, entry, answers):
            _ask_one(section, entry, answers, Person(ask, say, ports))
    while faults := faults_of(answers):  # such as half of a window, which took two answers
        for fault in faults:
            say(fault.sentence)
        unfit = {name for fault in faults for name in ASKED_TOGETHER.get(fault.reason, ())}
        unfit |= {fault.where.rpartition(".")[2] for fault in faults}
        again = [(section, entry) for section, entry in _asked() if entry.name in unfit]
        if not again:
            raise FaultyConfiguration(faults)
        for section, entry in again:
            answers.pop(f"{section.name}.{entry.name}", None)
        for section, entry in again:
            _ask_one(section, entry, answers, Person(ask, say, ports))
    return answers


def _ask_one(
    section: FileSection, entry: FileEntry, answers: dict[str, Answer], person: "Person"
) -> None:
    key = f"{section.name}.{entry.name}"
    default = entry.default
    if key == PORT and len(person.ports) == 1:
        default = "1"
    while True:
        try:
            typed = person.ask(entry.question, default)
            answer = fit(entry, person.port_of(typed) if key == PORT else typed)
        except UnfitAnswer as unfit:
            person.say(str(unfit))
            continue
        unfit_because = unfit_so_far({**answers, key: answer})
        if not unfit_because:
            answers[key] = answer
            return
        person.say(f"That does not fit: {unfit_because}")


def answers_in(tables: Mapping[str, object]) -> Answers:
    """Return the answers in `tables`, as TOML has them; raise UnfitAnswer."""
    entries_by_name = {
        f"{section.name}.{entry.name}": (section, entry) for section, entry in _asked()
    }
    given = dict(_flat(tables))
    for key in given:
        if key not in entries_by_name:
            raise UnfitAnswer(f"“{key}” is no question. {nearest(key, sorted(entries_by_name))}")
    answers: dict[str, Answer] = {}
    for key, (section, entry) in entries_by_name.items():
        if _is_needless(section, entry, answers) and key not in given:
            continue
        if key not in given and entry.default is None:
            raise UnfitAnswer(f"“{key}” is not answered: {entry.question}")
        try:
            answers[key] = fit(entry, _as_typed(given.get(key, entry.default)))
        except UnfitAnswer as unfit:
            raise UnfitAnswer(f"“{key}”: {unfit}") from None
    return answers


def fit(entry: FileEntry, typed: str) -> Answer:
    """Return what was typed as what the entry takes; raise UnfitAnswer."""
    typed = typed.strip()
    if not typed.isprintable():
        raise UnfitAnswer("There are keys in it that write nothing. Type it once more.")
    if entry.is_left_out_by(typed):
        return ""
    try:
        match entry.kind:
            case AnswerKind.PIN:
                return int(typed)
            case AnswerKind.NUMBER:
                return _finite(typed.replace(",", "."))
            case AnswerKind.YES:
                return YES[typed.lower()]
    except (ValueError, KeyError):
        raise UnfitAnswer(f"That has to be a {entry.kind.value}, not “{typed}”.") from None
    if not typed:
        or_later = f" or “{entry.put_off}”" if entry.put_off else ""
        raise UnfitAnswer(f"That has to be answered, with such as {entry.example}{or_later}.")
    return typed


def _finite(typed: str) -> float:
    number = float(typed)
    if not isfinite(number):
        raise ValueError
    return number


def ports() -> tuple[str, ...]:
    """Return the serial ports there are, by names that stay theirs."""
    by_id = sorted(Path("/dev/serial/by-id").glob("*"))
    named = {path.resolve() for path in by_id}
    by_path = sorted(Path("/dev/serial/by-path").glob("*"))
    others = (path for path in by_path if path.resolve() not in named)
    return tuple(map(str, (*by_id, *others)))


class TerminalPrompt:
    """Asks on the standard streams; a person may press Enter as often as they like."""

    def __init__(self) -> None:
        self._empty_answers = 0

    def ask(self, question: str, default: str | None) -> str:
        """Return what was typed; raise NobodyAnswers where it is a program that has no answer."""
        answer: str = click.prompt(question, default=default or "", show_default=bool(default))
        is_wanting = default is None and not answer.strip()
        self._empty_answers = self._empty_answers + 1 if is_wanting else 0
        if self._empty_answers == MOST_EMPTY_ANSWERS and not sys.stdin.isatty():
            raise NobodyAnswers(
                f"Nobody answers: “{question}” got {MOST_EMPTY_ANSWERS} empty lines. Nothing is"
                " written; --answers takes the answers from a file."
            )
        return answer


def _asked() -> Iterator[tuple[FileSection, FileEntry]]:
    for section in SECTIONS:
        for entry in section.entries:
            if entry.question:
                yield section, entry


def _is_needless(section: FileSection, entry: FileEntry, answers: Answers) -> bool:
    if section.name in NEEDS_CHIP:
        return answers.get("board.chip", "") == ""
    first = section.entries[0]
    return section.is_whole and entry is not first and answers[f"{section.name}.{first.name}"] == ""


def _flat(tables: Mapping[str, object], before: str = "") -> Iterator[tuple[str, object]]:
    for name, value in tables.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{name}.")
        else:
            yield f"{before}{name}", value


def _as_typed(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
