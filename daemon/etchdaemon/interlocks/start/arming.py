"""Arming: the loop is tested, somebody is present, and a start may follow for a minute."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from etchdaemon.interlocks.checks.safety_relay import FAILED
from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.conditions.presence import WITHIN_S
from etchdaemon.interlocks.conditions.samples import Condition
from etchdaemon.interlocks.limits import CONTACT_S, HEARTBEAT_OPENS_WITHIN_S
from etchdaemon.interlocks.rules.evaluation import RuleBreach
from etchdaemon.interlocks.rules.latch import Trip
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction


class ArmingStep(StrEnum):
    """The steps of arming, in their order."""

    DISARMED = "disarmed"
    LOOP_OFF = "loop must read open"
    LOOP_ON = "loop must read closed"
    HEARTBEAT = "loop must open without the heartbeat"
    PRESENCE = "waiting for somebody at the machine"
    ARMED = "armed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Arming:
    """The state of arming; `advance` returns the next one.

    The loop test closes the beam's contact for a tenth of a second, while the machine is at rest
    with its beam off; a heartbeat test keeps it closed for half a second more.
    """

    step: ArmingStep = ArmingStep.DISARMED
    since_s: float = 0.0
    with_heartbeat_test: bool = False
    is_loop_proven: bool = False
    is_heartbeat_proven: bool = False
    failed_because: str | None = None

    @property
    def is_under_way(self) -> bool:
        """Whether arming has begun and has neither ended nor failed."""
        return self.step not in (ArmingStep.DISARMED, ArmingStep.ARMED)

    @property
    def is_armed(self) -> bool:
        """Whether a start may follow."""
        return self.step is ArmingStep.ARMED

    @property
    def tests_beam(self) -> bool:
        """Whether the loop test keeps the beam's contact closed."""
        return self.step in (ArmingStep.LOOP_ON, ArmingStep.HEARTBEAT)

    @property
    def withholds_heartbeat(self) -> bool:
        """Whether the heartbeat is withheld, so that the loop opens."""
        return self.step is ArmingStep.HEARTBEAT

    def begin(
        self,
        now_s: WallSeconds,
        *,
        has_loop_input: bool,
        with_heartbeat_test: bool,
    ) -> "Arming":
        """Return arming begun; without a loop input it waits for somebody at once."""
        first = ArmingStep.LOOP_OFF if has_loop_input else ArmingStep.PRESENCE
        return Arming(
            step=first,
            since_s=now_s,
            with_heartbeat_test=with_heartbeat_test,
        )

    def advance(
        self, *, is_loop_closed: bool | None, presence_at_s: float | None, now_s: WallSeconds
    ) -> "Arming":
        """Return arming after a look; `is_loop_closed` is None where the loop cannot be read."""
        if self.step is ArmingStep.PRESENCE:
            return self._wait_for_somebody(presence_at_s, now_s)
        if self.step is ArmingStep.ARMED:
            is_over = presence_at_s is None or now_s - presence_at_s > WITHIN_S
            return self.disarm("The minute to start in is over; arm again.") if is_over else self
        if self.step is ArmingStep.DISARMED:
            return self
        return self._test_loop(is_loop_closed, now_s)

    def disarm(self, because: str | None = None) -> "Arming":
        """Return arming undone, with the sentence for a person."""
        return Arming(failed_because=because)

    @property
    def _limit_s(self) -> float:
        """How long the loop may take to follow in this step, in seconds."""
        is_heartbeat = self.step is ArmingStep.HEARTBEAT
        return HEARTBEAT_OPENS_WITHIN_S if is_heartbeat else CONTACT_S

    def _test_loop(self, is_closed: bool | None, now_s: WallSeconds) -> "Arming":
        if is_closed is None:
            return self.disarm("The loop's input cannot be read.")
        expects_closed, following, complaint = _LOOP_TEST[self.step]
        if is_closed is not expects_closed:
            return self if now_s - self.since_s <= self._limit_s else self.disarm(complaint)
        if self.step is ArmingStep.LOOP_ON and not self.with_heartbeat_test:
            following = ArmingStep.PRESENCE
        return replace(
            self._to(following, now_s),
            is_loop_proven=self.is_loop_proven or self.step is ArmingStep.LOOP_ON,
            is_heartbeat_proven=self.step is ArmingStep.HEARTBEAT,
        )

    def _wait_for_somebody(self, presence_at_s: float | None, now_s: WallSeconds) -> "Arming":
        # Without its heartbeat the safety relay has fallen, and only the button sets it again.
        counts_from_s = self.since_s if self.is_heartbeat_proven else now_s - WITHIN_S
        if presence_at_s is not None and presence_at_s >= counts_from_s:
            return self._to(ArmingStep.ARMED, now_s)
        if now_s - self.since_s > WITHIN_S:
            return self.disarm("Nobody came to the machine within a minute; arm again.")
        return self

    def _to(self, step: ArmingStep, now_s: WallSeconds) -> "Arming":
        return replace(self, step=step, since_s=now_s)


# What the loop must read in each step, the step that follows, and the sentence on a failure.
_LOOP_TEST: Final = {
    ArmingStep.LOOP_OFF: (
        False,
        ArmingStep.LOOP_ON,
        "The laser's loop is closed although it is switched off. Cut the laser's mains supply now.",
    ),
    ArmingStep.LOOP_ON: (
        True,
        ArmingStep.HEARTBEAT,
        "The laser's loop stays open although it was switched on. Press the button that sets the "
        "safety relay, check lid and stop button, then arm again.",
    ),
    ArmingStep.HEARTBEAT: (
        False,
        ArmingStep.PRESENCE,
        FAILED,
    ),
}


def what_undoes(
    arming: Arming, trips: Sequence[Trip], breaches: Iterable[RuleBreach]
) -> str | None:
    """Return the sentence of what undoes arming, under way or done; None: nothing does."""
    if not (arming.is_under_way or arming.is_armed):
        return None
    if trips:
        return trips[0].sentence
    return next((breach.sentence for breach in breaches if _undoes(arming, breach)), None)


def _undoes(arming: Arming, breach: RuleBreach) -> bool:
    condition = breach.rule.requires
    if condition is Condition.EXTRACTED or arming.is_armed:
        return False  # judged at the start, when the purge is over
    if condition is Condition.LID_CLOSED and not arming.tests_beam:
        return False  # opening and closing it is how somebody shows that they are there
    return breach.reaction(Phase.ARMED) >= Reaction.FORBID
