"""What the levels at the inputs mean, one function for each condition."""

from collections.abc import Mapping
from dataclasses import dataclass

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.conditions.extraction import Extraction, FanStep
from etchdaemon.interlocks.conditions.samples import Condition
from etchdaemon.interlocks.inputs import Input, Look
from etchdaemon.interlocks.limits import CONTACT_S

LID_CONTACTS = frozenset({Input.LID, Input.LID_SECOND})
AIR_INPUTS = frozenset({Input.AIR_FLOW, Input.PRESSURE_ABOVE_LOW, Input.PRESSURE_BELOW_HIGH})
_HAS_AIR = frozenset({FanStep.PURGING, FanStep.PROVEN})
_STOP = frozenset({Input.STOP_CIRCUIT})
_FLAME = frozenset({Input.FLAME})
_TEMPERATURE = frozenset({Input.TEMPERATURE})
_LOOP = frozenset({Input.LOOP_CLOSED})


@dataclass(frozen=True, slots=True, kw_only=True)
class BeamContact:
    """What the beam's contact was last driven to, and when that changed.

    `is_relay_tested`: the heartbeat is withheld, so that the loop opens although the contact is
    closed.
    """

    is_on: bool
    since_s: float
    is_relay_tested: bool = False

    def has_moved(self, at_s: WallSeconds) -> bool:
        """Return whether the contact had had time to follow at `at_s`."""
        return at_s - self.since_s > CONTACT_S


def is_air_moving(look: Look, wired: frozenset[Input]) -> bool | None:
    """Return whether every air input shows air; None where one of them cannot be read."""
    air = wired & AIR_INPUTS
    if not air or not air <= look.levels.keys():
        return None
    return all(look.levels[name].is_closed for name in air)


def conditions(
    look: Look, *, wired: frozenset[Input], fan: Extraction, beam: BeamContact
) -> Mapping[Condition, bool | None]:
    """Return what `look` says of each condition that an input shows; None where it cannot say.

    An input that was open since the look before counts as open now, whatever it reads. The loop is
    held to where the contact was when it was read: a busy computer may judge a look much later,
    and another thread may have driven the contact meanwhile.
    """
    air = is_air_moving(look, wired)
    return {
        Condition.LID_CLOSED: _all_closed(look, wired & LID_CONTACTS),
        Condition.LID_CONTACTS_AGREE: _agree(look, LID_CONTACTS),
        Condition.STOP_RELEASED: _all_closed(look, _STOP),
        Condition.NO_FIRE: _all_closed(look, _FLAME),
        Condition.COOL_ENOUGH: _all_closed(look, _TEMPERATURE),
        Condition.BUTTON_RELEASED: _is_released(look),
        Condition.LOOP_OPEN_WHEN_OFF: _loop_open_when_off(look, beam),
        Condition.LOOP_CLOSED_WHEN_ON: _loop_closed_when_on(look, beam),
        Condition.EXTRACTED: _is_extracted(look, air, fan, wired),
        Condition.AIR_FLOW_STILL_WHEN_OFF: None if air is None else not fan.is_stuck,
    }


def _all_closed(look: Look, names: frozenset[Input]) -> bool | None:
    if not names <= look.levels.keys():
        return None
    return all(look.levels[name].is_closed and name not in look.opened for name in names)


def _is_released(look: Look) -> bool | None:
    is_pressed = look.is_closed(Input.ARM_BUTTON)
    return None if is_pressed is None else not is_pressed


def _agree(look: Look, names: frozenset[Input]) -> bool | None:
    if not names <= look.levels.keys():
        return None
    return len({look.levels[name].is_closed for name in names}) == 1


def _is_extracted(
    look: Look, air: bool | None, fan: Extraction, wired: frozenset[Input]
) -> bool | None:
    if air is None:
        return None
    has_opened = any(name in look.opened for name in wired & AIR_INPUTS)
    return air and not has_opened and fan.step in _HAS_AIR


def _loop_open_when_off(look: Look, beam: BeamContact) -> bool | None:
    level = look.levels.get(Input.LOOP_CLOSED)
    if level is None:
        return None
    return beam.is_on or not beam.has_moved(level.at_s) or not level.is_closed


def _loop_closed_when_on(look: Look, beam: BeamContact) -> bool | None:
    level = look.levels.get(Input.LOOP_CLOSED)
    if level is None:
        return None
    may_be_open = not beam.is_on or beam.is_relay_tested or not beam.has_moved(level.at_s)
    return may_be_open or _all_closed(look, _LOOP)
