"""What a person is shown of the interlocks: values of the wire, sentences included."""

from collections.abc import Mapping

from etchdaemon.interlocks.checks.wiring_gaps import is_watch_only, wiring_gaps
from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import Output
from etchdaemon.interlocks.rules.evaluation import RuleBreach
from etchdaemon.interlocks.rules.latch import Trip
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction, Rule, RuleChange
from etchdaemon.interlocks.start.checklist import Question
from etchwire.calls.interlock_report import (
    ArmingView,
    InterlockReport,
    QuestionView,
    RuleView,
    TripView,
)


def report_of(
    interlocks: InterlockEngine, *, day: str, now_s: WallSeconds, board_trouble: str | None = None
) -> InterlockReport:
    """Return what the page shows at `now_s` on `day` (as 2026-11-28).

    `board_trouble` is a sentence where the board does less than it should.
    """
    breaches = {breach.rule.name: breach for breach in interlocks.sampler.breaches(now_s)}
    setup, attendance = interlocks.setup, interlocks.attendance
    is_extracted = Output.EXTRACTION in setup.wired
    return InterlockReport(
        phase=interlocks.phase.value,
        is_beam_enabled=interlocks.is_beam_on,
        rules=tuple(
            _rule_view(
                rule,
                breaches.get(rule.name),
                lasts_s=interlocks.durations.lasts_s(rule.name, now_s),
                change=setup.changes.get(rule.name),
                phase=interlocks.phase,
            )
            for rule in interlocks.rules
        ),
        trips=tuple(_trip_view(trip, now_s) for trip in interlocks.latch.trips),
        arming=_arming_view(interlocks, breaches, now_s),
        request=interlocks.required_action,
        is_somebody_there=interlocks.sampler.presence.is_recent(now_s),
        questions=tuple(_question_view(one) for one in interlocks.checklist.open_questions(day)),
        extraction=interlocks.sampler.fan.sentence if is_extracted else None,
        is_round_asking=attendance.rounds.is_asking,
        is_look_asked=attendance.looks.is_asking,
        asked_for=attendance.open_call,
        is_attended_only=interlocks.is_attended_only,
        is_watch_only=is_watch_only(setup.wired),
        seen_to_open=(*interlocks.proofs.report(day), interlocks.relay.report()),
        lacks=tuple(gap.sentence for gap in wiring_gaps(setup.wired)),
        changes={name: change.because for name, change in setup.changes.items()},
        board_trouble=board_trouble,
    )


def _rule_view(
    rule: Rule,
    breach: RuleBreach | None,
    *,
    lasts_s: float | None,
    change: RuleChange | None,
    phase: Phase,
) -> RuleView:
    return RuleView(
        name=rule.name,
        state="good" if breach is None else breach.cause.value,
        sentence=None if breach is None else breach.sentence,
        lasts_s=lasts_s,
        changed=_changed(change),
        is_required=rule.reaction(phase) > Reaction.NOTHING,
    )


def _trip_view(trip: Trip, now_s: WallSeconds) -> TripView:
    return TripView(
        name=trip.rule.name,
        reaction=trip.reaction_at(now_s).name.lower(),
        phase=trip.phase.value,
        sentence=trip.sentence,
        is_reset_at_machine=trip.rule.is_reset_at_machine,
    )


def _arming_view(
    interlocks: InterlockEngine, breaches: Mapping[str, RuleBreach], now_s: WallSeconds
) -> ArmingView:
    arming = interlocks.arming
    start_within_s = interlocks.sampler.presence.left_s(now_s) if arming.is_armed else None
    return ArmingView(
        step=arming.step.value,
        is_under_way=arming.is_under_way,
        is_possible=not any(breach.reaction(Phase.IDLE) for breach in breaches.values())
        and not interlocks.latch.trips
        and interlocks.required_action is None
        and not is_watch_only(interlocks.setup.wired),
        failed_because=arming.failed_because,
        start_within_s=start_within_s,
    )


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


def _question_view(question: Question) -> QuestionView:
    return QuestionView(
        key=question.key,
        text=question.text,
        kind=question.kind.value,
        choices=question.choices,
        how_often=question.how_often.value,
    )
