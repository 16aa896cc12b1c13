"""The interlocks: one table of what must be true, and what happens when it is not."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from enum import IntEnum, StrEnum
from types import MappingProxyType
from typing import Final

from etchdaemon.interlocks.conditions.presence import LONGEST_PRESS_S
from etchdaemon.interlocks.conditions.samples import Condition
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.limits import STALE_AFTER_S

MAX_DELAY_S: Final = 5.0
MAY_DELAY: Final = frozenset({Condition.EXTRACTED, Condition.COOL_ENOUGH})


class Phase(StrEnum):
    """What the box is doing, as far as the rules differ by it."""

    IDLE = "idle"  # nothing is being etched and nobody has armed
    ARMED = "armed"
    ETCHING = "etching"  # from the start of a run to its end, holds included


class Reaction(IntEnum):
    """What a broken rule asks for, in rising order; of several the worst counts."""

    NOTHING = 0
    FORBID = 1  # arming, start and resume are refused; no reset is needed afterwards
    HOLD = 2  # rest at the end of the row; becomes a trip after `trip_after_hold_s`
    TRIP = 3  # beam off at once, the machine to rest, a person resets
    EMERGENCY = 4  # beam off at once, controller reset, a person resets at the machine


class Air(StrEnum):
    """What a trip makes of the extraction."""

    ON = "on"
    OFF = "off"
    AS_IT_IS = "as it is"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One interlock. No rule resets itself, so there is no column for it."""

    requires: Condition
    while_idle: Reaction
    while_armed: Reaction
    while_etching: Reaction
    message: str
    heartbeat_message: str = ""  # added on a box with a heartbeat, which an emergency stops
    needs: frozenset[Input] = frozenset()  # in force where any of these is wired; none: always
    trip_delay_s: float = 0.0
    stale_after_s: float = STALE_AFTER_S
    trip_after_hold_s: float | None = None
    air: Air = Air.AS_IT_IS
    is_reset_at_machine: bool = False

    @property
    def name(self) -> str:
        """The name of the rule on the page, in the log and in a reset."""
        return self.requires.value

    def reaction(self, phase: Phase) -> Reaction:
        """Return the reaction that this rule asks for in `phase`."""
        return {
            Phase.IDLE: self.while_idle,
            Phase.ARMED: self.while_armed,
            Phase.ETCHING: self.while_etching,
        }[phase]


_NOTHING, _FORBID, _HOLD = Reaction.NOTHING, Reaction.FORBID, Reaction.HOLD
_TRIP, _EMERGENCY = Reaction.TRIP, Reaction.EMERGENCY

# Opening a guard gives a stop and closing it starts nothing: ISO 12100 (secondary account).
# A trip and an emergency take the beam's power away at once (category 0 of IEC 60204-1). For the
# motion both are commanded stops, because the motors keep their power: category 2 (secondary
# account). Delays and stable times: common practice, no source.
RULES: Final = (
    Rule(
        requires=Condition.LID_CLOSED,
        needs=frozenset({Input.LID, Input.LID_SECOND}),
        while_idle=_FORBID, while_armed=_TRIP, while_etching=_TRIP,
        air=Air.ON,
        message="The lid is open. Look at the tile without touching it, close the lid, reset.",
    ),
    Rule(
        requires=Condition.LID_CONTACTS_AGREE,
        needs=frozenset({Input.LID_SECOND}),
        while_idle=_TRIP, while_armed=_TRIP, while_etching=_TRIP,
        trip_delay_s=2.0,  # the lid rule has cut at once; this only tells a moving lid from a fault
        air=Air.ON, is_reset_at_machine=True,
        message="The two lid contacts disagree: one is stuck or out of place. Have it put right.",
    ),
    Rule(
        requires=Condition.STOP_RELEASED,
        needs=frozenset({Input.STOP_CIRCUIT}),
        while_idle=_EMERGENCY, while_armed=_EMERGENCY, while_etching=_EMERGENCY,
        air=Air.ON, is_reset_at_machine=True,
        message="The stop button was pressed. Find out why before you release and reset it.",
        heartbeat_message="The heartbeat was stopped too: set the safety relay anew with its "
        "button after the reset.",
    ),
    Rule(
        requires=Condition.NO_FIRE,
        needs=frozenset({Input.FLAME}),
        while_idle=_EMERGENCY, while_armed=_EMERGENCY, while_etching=_EMERGENCY,
        air=Air.OFF, is_reset_at_machine=True,
        message="Fire or smoke in the box. Cut the mains, keep the lid shut, have help at hand.",
        heartbeat_message="The heartbeat was stopped too, which drops the safety relay; cut the "
        "mains all the same.",
    ),
    Rule(
        requires=Condition.LOOP_OPEN_WHEN_OFF,
        needs=frozenset({Input.LOOP_CLOSED}),
        while_idle=_EMERGENCY, while_armed=_EMERGENCY, while_etching=_EMERGENCY,
        air=Air.ON, is_reset_at_machine=True,
        message="The laser's loop is closed although it was switched off. "
        "Cut the laser's mains supply now.",
        heartbeat_message="The heartbeat was stopped, which drops the safety relay; cut the mains "
        "all the same: a contact may be welded.",
    ),
    Rule(
        requires=Condition.LOOP_CLOSED_WHEN_ON,
        needs=frozenset({Input.LOOP_CLOSED}),
        while_idle=_NOTHING, while_armed=_NOTHING, while_etching=_TRIP,
        air=Air.ON,
        message="The laser's loop is open although it was switched on. Check lid, stop button "
        "and the safety relay; set the relay with its button.",
    ),
    Rule(
        requires=Condition.EXTRACTED,
        needs=frozenset({Input.AIR_FLOW, Input.PRESSURE_ABOVE_LOW}),
        while_idle=_NOTHING, while_armed=_FORBID, while_etching=_HOLD,
        trip_delay_s=2.0, trip_after_hold_s=3.0,
        air=Air.ON,
        message="No proof that the fumes are drawn off. Check the fan, the hose and the filter.",
    ),
    Rule(
        requires=Condition.AIR_FLOW_STILL_WHEN_OFF,
        needs=frozenset({Input.AIR_FLOW, Input.PRESSURE_ABOVE_LOW}),
        while_idle=_FORBID, while_armed=_TRIP, while_etching=_TRIP,
        message="The air flow input shows air with the fan off: its contact is stuck, "
        "or another fan draws.",
    ),
    Rule(
        requires=Condition.COOL_ENOUGH,
        needs=frozenset({Input.TEMPERATURE}),
        while_idle=_FORBID, while_armed=_FORBID, while_etching=_HOLD,
        trip_delay_s=1.0, trip_after_hold_s=4.0,
        air=Air.ON,
        message="The temperature switch has opened. Let the machine cool and find out why.",
    ),
    Rule(
        requires=Condition.BUTTON_RELEASED,
        needs=frozenset({Input.ARM_BUTTON}),
        while_idle=_FORBID, while_armed=_FORBID, while_etching=_FORBID,
        trip_delay_s=LONGEST_PRESS_S,
        message="The button at the machine has been down for more than ten seconds: it is stuck or "
        "bridged. That shows nobody, and the safety relay sets itself. Have it put right.",
    ),
    Rule(
        requires=Condition.CONTROLLER_OBEYS,
        while_idle=_EMERGENCY, while_armed=_EMERGENCY, while_etching=_EMERGENCY,
        air=Air.ON, is_reset_at_machine=True,
        message="The motion controller did not obey in an etch: it answered nothing, or did not "
        "come to rest. Cut the laser's mains supply, then switch the controller off and on.",
        heartbeat_message="The heartbeat was stopped too: set the safety relay anew with its "
        "button after the reset.",
    ),
    Rule(
        requires=Condition.LOOP_ALIVE,
        while_idle=_FORBID, while_armed=_TRIP, while_etching=_TRIP,
        air=Air.ON,
        message="The program that steers the machine hangs. Wait for the machine to rest, reset.",
    ),
    Rule(
        requires=Condition.GUARD_ALIVE,
        while_idle=_TRIP, while_armed=_TRIP, while_etching=_TRIP,
        air=Air.ON,
        message="The program that watches the interlocks has failed. Look at the log, then reset.",
    ),
    Rule(
        requires=Condition.ATTENDED,
        while_idle=_NOTHING, while_armed=_NOTHING, while_etching=_HOLD,
        air=Air.ON,
        message="Nobody answered the watch round, so the box rests at the end of the row.",
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleChange:
    """What a configuration changes in a rule, and why."""

    because: str
    trip_delay_s: float | None = None
    air: Air | None = None
    flame_confirm_s: float = 0.0

    def and_also(self, other: "RuleChange | None") -> "RuleChange":
        """Return both changes of the same rule as one."""
        if other is None:
            return self
        return RuleChange(
            because=f"{self.because}; {other.because}",
            trip_delay_s=self.trip_delay_s if other.trip_delay_s is None else other.trip_delay_s,
            air=other.air or self.air,
            flame_confirm_s=max(self.flame_confirm_s, other.flame_confirm_s),
        )


def rules_for(
    wired: Collection[Input | Output],
    changes: Mapping[str, RuleChange] = MappingProxyType({}),
    *,
    stale_after_s: float = STALE_AFTER_S,
) -> tuple[Rule, ...]:
    """Return the rules in force on a box with these inputs, in table order."""
    has_heartbeat = Output.HEARTBEAT in wired
    return tuple(
        replace(
            _changed(
                _with_heartbeat_message(rule) if has_heartbeat else rule, changes.get(rule.name)
            ),
            stale_after_s=stale_after_s,
        )
        for rule in RULES
        if not rule.needs or rule.needs & set(wired)
    )


def _with_heartbeat_message(rule: Rule) -> Rule:
    return replace(rule, message=f"{rule.message} {rule.heartbeat_message}".rstrip())


def _changed(rule: Rule, change: RuleChange | None) -> Rule:
    if change is None:
        return rule
    delay_s = rule.trip_delay_s if change.trip_delay_s is None else change.trip_delay_s
    return replace(rule, trip_delay_s=delay_s, air=change.air or rule.air)
