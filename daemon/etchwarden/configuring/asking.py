"""Questions and answers: from a person, or from a file of answers."""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import click

from etchdaemon.configuration.faults import nearest
from etchwarden.configuring.entries import SECTIONS, Entry, Kind, Section
from etchwarden.configuring.writing import Answers

YES: Final = {"yes": True, "y": True, "no": False, "n": False}
# Nothing to ask about pins where there is no chip to have them.
NEEDS_CHIP: Final = ("inputs", "outputs")

Ask = Callable[[str, str | None], str]


class UnfitAnswer(ValueError):
    """An answer is not what was asked for; the message says what would be."""


def answers_of_person(ask: Ask, say: Callable[[str], None]) -> Answers:
    """Ask question after question, again where an answer is unfit."""
    answers: dict[str, str | int | float | bool] = {}
    for section, entry in _asked():
        if _is_needless(section, entry, answers):
            continue
        while True:
            try:
                key = f"{section.name}.{entry.name}"
                answers[key] = fit(entry, ask(entry.question, entry.default))
                break
            except UnfitAnswer as unfit:
                say(str(unfit))
    return answers


def answers_in(tables: Mapping[str, Any]) -> Answers:
    """Return the answers in `tables`, as TOML has them; raise UnfitAnswer."""
    known = {f"{section.name}.{entry.name}": (section, entry) for section, entry in _asked()}
    given = dict(_flat(tables))
    for key in given:
        if key not in known:
            raise UnfitAnswer(f"“{key}” is no question. {nearest(key, known)}")
    answers: dict[str, str | int | float | bool] = {}
    for key, (section, entry) in known.items():
        if _is_needless(section, entry, answers) and key not in given:
            continue
        if key not in given and entry.default is None:
            raise UnfitAnswer(f"“{key}” is not answered: {entry.question}")
        try:
            answers[key] = fit(entry, _as_typed(given.get(key, entry.default)))
        except UnfitAnswer as unfit:
            raise UnfitAnswer(f"“{key}”: {unfit}") from None
    return answers


def fit(entry: Entry, typed: str) -> str | int | float | bool:
    """Return what was typed as what the entry takes; raise UnfitAnswer."""
    typed = typed.strip()
    if typed == "" and entry.default == "":
        return ""
    try:
        match entry.kind:
            case Kind.PIN:
                return int(typed)
            case Kind.NUMBER:
                return float(typed.replace(",", "."))
            case Kind.YES:
                return YES[typed.lower()]
    except (ValueError, KeyError):
        raise UnfitAnswer(f"That has to be a {entry.kind.value}, not “{typed}”.") from None
    if not typed:
        raise UnfitAnswer("That has to be answered.")
    return typed


def ports() -> tuple[str, ...]:
    """Return the serial ports there are, by names that stay theirs."""
    by_id = sorted(Path("/dev/serial/by-id").glob("*"))
    named = {path.resolve() for path in by_id}
    by_path = sorted(Path("/dev/serial/by-path").glob("*"))
    others = (path for path in by_path if path.resolve() not in named)
    return tuple(map(str, (*by_id, *others)))


def ask_person(question: str, default: str | None) -> str:
    """Ask at the terminal."""
    answer: str = click.prompt(question, default=default, show_default=bool(default))
    return answer


def _asked() -> Iterator[tuple[Section, Entry]]:
    for section in SECTIONS:
        for entry in section.entries:
            if entry.question:
                yield section, entry


def _is_needless(section: Section, entry: Entry, answers: Answers) -> bool:
    if section.name in NEEDS_CHIP:
        return answers.get("board.chip", "") == ""
    first = section.entries[0]
    return section.is_whole and entry is not first and answers[f"{section.name}.{first.name}"] == ""


def _flat(tables: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in tables.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{name}.")
        else:
            yield f"{before}{name}", value


def _as_typed(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
