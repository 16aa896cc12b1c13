"""What the page says of the box's interlocks: pure, the daemon's report in, words out."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from etchweb.text.causes import STATES, cause_of, is_good_again
from etchweb.text.emergencies import gravest_of
from etchweb.text.formatting import as_sentence, short_duration
from etchweb.text.view import View
from etchwire.calls.interlock_report import InterlockReport, QuestionView, RuleView
from etchwire.calls.json_values import to_json_value

NO_BOX: Final[View] = {
    "box": "",
    "request": "",
    "arming": "",
    "arming_step": "disarmed",
    "start_within": "",
    "questions": [],
    "is_emergency": False,
    "steps": [],
    "round": "",
    "round_answer": "",
    "fan": "",
    "conditions": {},
    "changed": {},
    "lacks": [],
    "proofs_due": [],
    "proofs": [],
}

# The step's own word is the daemon's; the page says what a person does about it.
ARMING_WORDS: Final = {
    "loop must read open": "The laser's loop is being tested.",
    "loop must read closed": "The laser's loop is being tested.",
    "loop must open without the heartbeat": "The heartbeat's contact is being tested.",
    "waiting for somebody at the machine": (
        "Now show that somebody is at the machine: press the button there, or open the lid and "
        "close it, within a minute."
    ),
}
HOW_OFTEN: Final = {"day": "For today", "bed": "For the bed", "tile": "For this tile"}
HERE: Final = "Yes, I am here"
LOOKED: Final = "I have looked, all is well"


def box_part(report: InterlockReport) -> View:
    """Return the page's entries about the interlocks."""
    step, trips = report.arming.step, report.trips
    emergency = gravest_of(trips)
    questions = _grouped(report.questions)
    return {
        # What is laid out on the page; while it stays, only words change.
        "box": "/".join((
            step,
            # A flicker may become a fire, and what was bad good again.
            *(f"{one.name} {one.reaction} {is_good_again(one, report)}" for one in trips),
            *(question.key for question in report.questions),
            report.asked_for or "",
        )),
        "request": report.request or "",
        "arming": ARMING_WORDS.get(step, as_sentence(report.arming.failed_because or "")),
        "arming_step": step,
        "start_within": _start_within(report.arming.start_within_s),
        "questions": questions,
        "is_emergency": emergency is not None,
        "steps": emergency.steps if emergency else [],
        "round_answer": LOOKED if report.is_look_asked else HERE,
        "round": as_sentence(report.asked_for or ""),
        "fan": as_sentence(report.extraction or ""),
        "conditions": {rule.name: cause_of(rule.name).label for rule in report.rules},
        "changed": {rule.name: rule.changed or "" for rule in report.rules},
        "lacks": [as_sentence(lack) for lack in report.lacks],
        "proofs_due": proofs_of(report, is_due=True),
        "proofs": proofs_of(report, is_due=False),
        **{f"condition {rule.name}": _condition(rule) for rule in report.rules},
    }  # fmt: skip


def proofs_of(report: InterlockReport, *, is_due: bool) -> list[str]:
    """Return what is said of contacts that were seen to open, or have to be made to."""
    return [one.sentence for one in report.seen_to_open if one.is_due is is_due]


def answers_from(form: Mapping[str, str], report: InterlockReport) -> dict[str, bool | float | str]:
    """Return what a form says to the questions that `report` asks, by their keys.

    What cannot be a number goes as it was written: the daemon says what it wants instead.
    """
    said: dict[str, bool | float | str] = {}
    for question in report.questions:
        value = form.get(f"answer {question.key}", "").strip()
        if value:
            said[question.key] = _ANSWERS[question.kind](value)
    return said


def _hours(value: str) -> float | str:
    try:
        return float(value.replace(",", "."))
    except ValueError:
        return value


_ANSWERS: Final[Mapping[str, Callable[[str], bool | float | str]]] = {
    "confirmation": lambda value: value == "yes",
    "choice": str,
    "hours": _hours,
}


def _condition(rule: RuleView) -> str:
    words = as_sentence(rule.sentence) if rule.sentence else STATES[rule.state]
    lasts_s = rule.lasts_s
    if lasts_s is None:
        return words
    # No finer than minutes, or every phone would be told every second.
    long = "just now" if lasts_s < 60 else f"for {short_duration(lasts_s // 60 * 60)}"
    return f"{words.rstrip('.')}, {long}"


def _start_within(left_s: float | None) -> str:
    return "" if left_s is None else f"{left_s:.0f} s left to start."


def _grouped(questions: Sequence[QuestionView]) -> list[View]:
    groups: list[View] = []
    for how_often, title in HOW_OFTEN.items():
        asked = [question for question in questions if question.how_often == how_often]
        if asked:
            groups.append({"title": title, "questions": to_json_value(asked)})
    return groups
