"""From looks at the board to samples of conditions, with the fan and the presence of somebody."""

from collections.abc import Collection, Mapping

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.conditions.extraction import Extraction
from etchdaemon.interlocks.conditions.flame import FlameConfirmation
from etchdaemon.interlocks.conditions.input_conditions import (
    LID_CONTACTS,
    BeamContact,
    conditions,
    is_air_moving,
)
from etchdaemon.interlocks.conditions.presence import Presence
from etchdaemon.interlocks.conditions.samples import Condition, Sample, next_sample
from etchdaemon.interlocks.inputs import Input, Look
from etchdaemon.interlocks.rules.evaluation import RuleBreach, rule_breaches
from etchdaemon.interlocks.rules.rule_table import Air, Rule
from etchdaemon.interlocks.setup import Setup


class InputSampler:
    """Keeps the last sample of every condition, the state of the fan, and who was there when."""

    def __init__(self, setup: Setup, rules: tuple[Rule, ...]) -> None:
        self.fan = Extraction()
        self.presence = Presence()
        self.samples: Mapping[Condition, Sample] = {}
        self._flame = FlameConfirmation(confirm_s=setup.flame_confirm_s)
        self._setup = setup
        self._inputs = setup.inputs  # gathered once, and not at every look
        self._rules = rules
        self._wired_rules = tuple(rule for rule in rules if rule.needs)
        self._unwired = frozenset(rule.requires for rule in rules if not rule.needs)
        self._has_looked = False

    def breaches(self, now_s: WallSeconds) -> tuple[RuleBreach, ...]:
        """Return the rules that are broken at `now_s`."""
        return rule_breaches(self._rules, self.samples, now_s)

    def note(self, condition: Condition, *, is_good: bool, at_s: WallSeconds) -> None:
        """Note a condition that no input shows."""
        self.samples = {**self.samples, condition: self._next(condition, is_good, at_s)}

    def take(self, look: Look, *, beam: BeamContact, is_fan_wanted: bool, air: Air) -> None:
        """Take in one look at the inputs; what it does not show is forgotten, so it is unread."""
        if not self._has_looked:
            self.fan = Extraction(since_s=look.now_s)
            self._has_looked = True
        self._run_fan(look, is_wanted=is_fan_wanted or air is Air.ON, is_forced_off=air is Air.OFF)
        self._sample(look, beam)
        self._see_people(look)

    def stop_fan(self, now_s: WallSeconds) -> None:
        """Switch the fan off without clearing the box."""
        self.fan = self.fan.stop_now(now_s)

    def use_presence(self) -> None:
        """Count nobody as present: a press or a lid counts once."""
        self.presence = self.presence.used()

    def _run_fan(self, look: Look, *, is_wanted: bool, is_forced_off: bool) -> None:
        moving = is_air_moving(look, self._inputs)
        if moving is None and self._setup.shows_air:
            moving = not self.fan.is_on  # what cannot be read proves nothing
        if is_forced_off:
            self.stop_fan(look.now_s)
            return
        self.fan = self.fan.advance(
            is_wanted=is_wanted,
            is_air_moving=moving,
            now_s=look.now_s,
            times=self._setup.extraction,
        )

    def _sample(self, look: Look, beam: BeamContact) -> None:
        seen = conditions(look, wired=self._inputs, fan=self.fan, beam=beam)
        kept = {name: sample for name, sample in self.samples.items() if name in self._unwired}
        read = {
            rule.requires: self._next(rule.requires, is_good, _read_at_s(look, rule.needs))
            for rule in self._wired_rules
            if (is_good := seen[rule.requires]) is not None
        }
        self.samples = kept | read
        self._confirm_flame(look)

    def _confirm_flame(self, look: Look) -> None:
        level, sample = look.levels.get(Input.FLAME), self.samples.get(Condition.NO_FIRE)
        if level is None or sample is None:
            return
        has_opened = Input.FLAME in look.opened
        self._flame = self._flame.after(
            is_open=not level.is_closed, has_opened=has_opened, now_s=look.now_s
        )
        confirmed = sample._replace(is_confirmed=self._flame.is_confirmed)
        self.samples = {**self.samples, Condition.NO_FIRE: confirmed}

    def _next(self, condition: Condition, is_good: bool, at_s: WallSeconds) -> Sample:
        last = self.samples.get(condition)
        return next_sample(last, is_good=is_good, at_s=at_s, stable_s=self._setup.stable_s)

    def _see_people(self, look: Look) -> None:
        if Input.ARM_BUTTON in self._setup.wired:
            is_down = look.is_closed(Input.ARM_BUTTON)
            if is_down is not None:
                self.presence = self.presence.after_button(
                    is_down=is_down,
                    has_bounced=Input.ARM_BUTTON in look.opened,
                    now_s=look.now_s,
                )
            return
        lid = self.samples.get(Condition.LID_CLOSED)
        if lid is not None:
            contacts = LID_CONTACTS & look.levels.keys()
            self.presence = self.presence.after_lid(
                is_open=not all(look.levels[name].is_closed for name in contacts),
                is_shut=lid.bad_since_s is None,
                now_s=look.now_s,
            )


def _read_at_s(look: Look, needs: Collection[Input]) -> WallSeconds:
    levels = look.levels
    return min([levels[name].at_s for name in needs if name in levels])
