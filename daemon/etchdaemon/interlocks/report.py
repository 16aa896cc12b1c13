"""What a person is shown of the interlocks: plain values, sentences included."""

from typing import Any

from etchdaemon.interlocks.checks.wiring_gaps import is_watch_only, wiring_gaps
from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import Output
from etchdaemon.interlocks.rules.rule_table import Phase, RuleChange
from etchdaemon.interlocks.start.checklist import Question


def report_of(interlocks: InterlockEngine, *, day: str, now_s: WallSeconds) -> dict[str, Any]:
    """Return rules, trips, arming, fan and rounds as JSON values."""
    found = {breach.rule.name: breach for breach in interlocks.sampler.breaches(now_s)}
    arming, setup = interlocks.arming, interlocks.setup
    presence = interlocks.sampler.presence
    return {
        "phase": interlocks.phase.value,
        "is_beam_enabled": interlocks.is_beam_on,
        "rules": [
            {
                "name": rule.name,
                "state": found[rule.name].cause.value if rule.name in found else "good",
                "sentence": found[rule.name].sentence if rule.name in found else None,
                "lasts_s": interlocks.durations.lasts_s(rule.name, now_s),
                "changed": _changed(setup.changes.get(rule.name)),
            }
            for rule in interlocks.rules
        ],
        "trips": [
            {
                "name": trip.rule.name,
                "reaction": trip.reaction_at(now_s).name.lower(),
                "phase": trip.phase.value,
                "sentence": trip.sentence,
                "is_reset_at_machine": trip.rule.is_reset_at_machine,
            }
            for trip in interlocks.latch.trips
        ],
        "arming": {
            "step": arming.step.value,
            "is_under_way": arming.is_under_way,
            "is_possible": not any(one.reaction(Phase.IDLE) for one in found.values())
            and not interlocks.latch.trips
            and interlocks.required_action is None
            and not is_watch_only(setup.wired),
            "failed_because": arming.failed_because,
            "start_within_s": presence.left_s(now_s) if arming.is_armed else None,
        },
        "request": interlocks.required_action,
        "is_somebody_there": presence.is_recent(now_s),
        "questions": [_question(one) for one in interlocks.checklist.open_questions(day)],
        "extraction": interlocks.sampler.fan.sentence if Output.EXTRACTION in setup.wired else None,
        "is_round_asking": interlocks.attendance.rounds.is_asking,
        "is_look_asked": interlocks.attendance.looks.is_asking,
        "asked_for": interlocks.attendance.open_call,
        "is_attended_only": interlocks.is_attended_only,
        "is_watch_only": is_watch_only(setup.wired),
        "seen_to_open": [*interlocks.proofs.report(day), interlocks.relay.report()],
        "lacks": [lack.sentence for lack in wiring_gaps(setup.wired)],
        "changes": {name: change.because for name, change in setup.changes.items()},
    }


def _changed(change: RuleChange | None) -> str | None:
    """Return what the configuration of this box says otherwise than the table, and why."""
    if change is None:
        return None
    waits = "" if change.trip_delay_s is None else f"it waits {change.trip_delay_s:g} s"
    air = "" if change.air is None else f"extraction {change.air.value}"
    confirm_s = change.flame_confirm_s
    flame = f"a flame is an emergency once confirmed ({confirm_s:g} s)" if confirm_s else ""
    said = " and ".join(one for one in (waits, air, flame) if one)
    return f"Set otherwise for this box: {said}, because {change.because.strip().rstrip('.')}."


def _question(question: Question) -> dict[str, Any]:
    return {
        "key": question.key,
        "text": question.text,
        "kind": question.kind.value,
        "choices": list(question.choices),
        "how_often": question.how_often.value,
    }
