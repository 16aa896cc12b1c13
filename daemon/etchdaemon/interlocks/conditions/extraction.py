"""The extraction fan: on before the beam, proven by its air flow, and on for a while after it."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds

SPIN_DOWN_S: Final = 10.0  # a fan coasts no longer; common practice, no source


class FanStep(StrEnum):
    """The states of the fan."""

    OFF = "off"
    SPINNING_UP = "spinning up"
    PURGING = "purging"
    PROVEN = "proven"
    CLEARING = "clearing"


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtractionTimes:
    """How long the fan runs before the beam and after it."""

    purge_s: float = 10.0
    clearing_s: float = 120.0


@dataclass(frozen=True, slots=True)
class Extraction:
    """The state of the fan; `advance` returns the next one.

    The air must be still before the fan is switched on and move after it: an input that always
    shows air (a stuck contact) proves nothing. So a start waits until the fan has coasted down.
    """

    step: FanStep = FanStep.OFF
    since_s: float = 0.0
    is_stuck: bool = False

    @property
    def is_on(self) -> bool:
        """Whether the fan is driven on."""
        return self.step is not FanStep.OFF

    @property
    def is_ready(self) -> bool:
        """Whether the box is purged and air flows, so that the beam is allowed."""
        return self.step is FanStep.PROVEN

    @property
    def sentence(self) -> str:
        """The state in a sentence for a person."""
        return _SENTENCE[self.step]

    def advance(
        self,
        *,
        is_wanted: bool,
        is_air_moving: bool | None,
        now_s: WallSeconds,
        times: ExtractionTimes,
    ) -> "Extraction":
        """Return the state after a look; `is_air_moving` is None where no input shows it."""
        if self.step is FanStep.OFF:
            return self._while_off(is_wanted, is_air_moving, now_s)
        if not is_wanted:
            return self._wind_up(now_s, times)
        if self.step is FanStep.SPINNING_UP:
            has_come = is_air_moving is not False
            return self._to(FanStep.PURGING, now_s) if has_come else self
        if self.step is FanStep.CLEARING or (
            self.step is FanStep.PURGING and is_air_moving is False
        ):
            return self._to(FanStep.SPINNING_UP, now_s)
        if self.step is FanStep.PURGING and now_s - self.since_s >= times.purge_s:
            return self._to(FanStep.PROVEN, now_s)
        return self

    def stop_now(self, now_s: WallSeconds) -> "Extraction":
        """Return the fan switched off without clearing the box, as in a fire."""
        if not self.is_on:
            return self
        return Extraction(FanStep.OFF, now_s)

    def _while_off(
        self, is_wanted: bool, is_air_moving: bool | None, now_s: WallSeconds
    ) -> "Extraction":
        is_still = is_air_moving is not True
        is_stuck = not is_still and now_s - self.since_s >= SPIN_DOWN_S
        seen = self if is_stuck is self.is_stuck else replace(self, is_stuck=is_stuck)
        return seen._to(FanStep.SPINNING_UP, now_s) if is_wanted and is_still else seen

    def _wind_up(self, now_s: WallSeconds, times: ExtractionTimes) -> "Extraction":
        if self.step is not FanStep.CLEARING:
            return self._to(FanStep.CLEARING, now_s)
        if now_s - self.since_s >= times.clearing_s:
            return Extraction(FanStep.OFF, now_s)
        return self

    def _to(self, step: FanStep, now_s: WallSeconds) -> "Extraction":
        return replace(self, step=step, since_s=now_s)


_SENTENCE: Final = {
    FanStep.OFF: "The extraction is off.",
    FanStep.SPINNING_UP: "The extraction is starting; its air flow is not proven yet.",
    FanStep.PURGING: "The extraction clears the box before the beam may come.",
    FanStep.PROVEN: "The extraction runs.",
    FanStep.CLEARING: "The extraction runs on to clear the box.",
}
