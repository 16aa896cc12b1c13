"""What a check finds: how bad it is, a sentence about it, and what to do."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Generic, TypeVar

Facts = TypeVar("Facts")


class Grade(IntEnum):
    """How a finding stands; the worst of all is the exit code."""

    WELL = 0
    LOOK = 1  # somebody should look at it
    WRONG = 2  # it will not work like this, or is not safe


@dataclass(frozen=True, slots=True)
class CheckResult:
    """One thing that was looked at, and what to do about it where it is not well.

    `quotes`: its sentence may hold what somebody has written, and so is not for strangers.
    """

    grade: Grade
    sentence: str
    advice: str = ""
    quotes: bool = False


@dataclass(frozen=True, slots=True)
class Check(Generic[Facts]):
    """One thing to look at.

    `blames_release`: a new release may be at fault when it is wrong. `quotes`: see Finding.
    """

    name: str
    judge: Callable[[Facts], CheckResult | None]
    blames_release: bool = False
    quotes: bool = False


def well(sentence: str) -> CheckResult:
    """Return that all is as it should be."""
    return CheckResult(Grade.WELL, sentence)


def look(sentence: str, advice: str = "") -> CheckResult:
    """Return that somebody should look at it."""
    return CheckResult(Grade.LOOK, sentence, advice)


def wrong(sentence: str, advice: str = "") -> CheckResult:
    """Return that it will not do."""
    return CheckResult(Grade.WRONG, sentence, advice)


def results_of(
    checks: Sequence[Check[Facts]], facts: Facts, *, of_release: bool = False
) -> Iterable[tuple[str, CheckResult]]:
    """Yield what each check finds, by its name; a check that does not apply finds nothing."""
    for check in checks:
        if of_release and not check.blames_release:
            continue
        finding = check.judge(facts)
        if finding is not None:
            yield check.name, replace(finding, quotes=check.quotes)
