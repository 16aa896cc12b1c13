"""Where the head went and when the beam was on, and the strokes of light that follow from both.

The beam follows the controller's output a little late, and the head leans a little towards
where it is going. Both are what makes rows burnt in opposite directions miss each other.
"""

import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from etchpractice.motion.planner import Place

Floats = NDArray[np.float64]

_SLIP_S: Final = 0.002  # how long the head runs on when it is stopped in mid-step; our invention
_BATCH: Final = 20_000


class Strokes(NamedTuple):
    """Straight strokes of even light: ends in mm on the bed, seconds, and output level."""

    x0: Floats
    y0: Floats
    x1: Floats
    y1: Floats
    lasts_s: Floats
    level: Floats


class BeamTrack:
    """Keeps what the controller did since the strokes were last taken.

    A row burnt at v lands v * `beam_lag_s` + `slack_mm` / 2 further along its own direction
    than it was told to, which is what `etchwire.catalogue.heads.Register.lead_mm` corrects.
    """

    def __init__(self, *, beam_lag_s: float, slack_mm: float, power_pulse_s: float = 0.0) -> None:
        """Begin at the origin, dark.

        `power_pulse_s` is how long one pulse of the power lasts: a new level begins with the
        next one, while off is at once. 0 has every level begin when it is set.
        """
        self.beam_lag_s = beam_lag_s
        self._power_pulse_s = power_pulse_s
        self._half_slack_mm = slack_mm / 2
        self._lean_mm = 0.0
        self._origin = (0.0, 0.0)  # the controller's zero, on the bed
        self._commanded_mm = (0.0, 0.0)  # where the head is by its steps, on the bed
        self._times = [0.0]
        self._xs = [0.0]
        self._ys = [0.0]
        self._level_times = [-1e9]
        self._levels = [0]
        self._gate_times = [-1e9]
        self._gates = [True]

    @property
    def is_long(self) -> bool:
        """Whether the strokes had better be taken soon."""
        return len(self._times) > _BATCH

    @property
    def head_mm(self) -> tuple[float, float]:
        """Where the head really is, on the bed."""
        return self._commanded_mm[0] + self._lean_mm, self._commanded_mm[1]

    @property
    def is_lit(self) -> bool:
        """Whether the output is on and the beam enabled, by what is known so far."""
        return bool(self._levels[-1]) and self._gates[-1]

    def move(self, from_s: float, to_s: float, end: Place) -> None:
        """Note that the head went evenly to `end` between two times."""
        x, y = end[0] + self._origin[0], end[1] + self._origin[1]
        if from_s > self._times[-1]:
            self._note(from_s, self._xs[-1], self._ys[-1])
        lean = self._lean_mm + x - self._commanded_mm[0]
        half = self._half_slack_mm
        self._lean_mm = max(-half, min(half, lean))
        self._commanded_mm = (x, y)
        self._note(to_s, x + self._lean_mm, y)

    def _note(self, at_s: float, x: float, y: float) -> None:
        self._times.append(at_s)
        self._xs.append(x)
        self._ys.append(y)

    def set_level(self, at_s: float, level: int) -> None:
        """Note a new output level."""
        while self._level_times[-1] > at_s:  # no pulse began since
            del self._level_times[-1], self._levels[-1]
        if level and self._power_pulse_s:
            at_s = math.ceil(at_s / self._power_pulse_s) * self._power_pulse_s
        self._level_times.append(at_s)
        self._levels.append(level)

    def set_gate(self, at_s: float, *, is_closed: bool) -> None:
        """Note that the contact in the laser's supply closed or opened."""
        self._gate_times.append(at_s)
        self._gates.append(is_closed)

    def put(self, at_s: float, place: Place, bed: Place) -> None:
        """Note that the controller's `place` is the point `bed` of the bed."""
        self._origin = (bed[0] - place[0], bed[1] - place[1])
        self._commanded_mm = (bed[0], bed[1])
        self._lean_mm = -self._half_slack_mm
        self._note(max(at_s, self._times[-1]), bed[0] + self._lean_mm, bed[1])

    def push(self, at_s: float, x_mm: float, y_mm: float) -> None:
        """Note that somebody has pushed the head that far: the controller counts nothing of it."""
        self._origin = (self._origin[0] + x_mm, self._origin[1] + y_mm)
        self._commanded_mm = (self._commanded_mm[0] + x_mm, self._commanded_mm[1] + y_mm)
        self._note(max(at_s, self._times[-1]), self._xs[-1] + x_mm, self._ys[-1] + y_mm)

    def count_from_zero(self, place: Place) -> None:
        """Note that what was `place` is now the controller's zero."""
        self._origin = (self._origin[0] + place[0], self._origin[1] + place[1])

    def slip(self, velocity: Place) -> None:
        """Note a stop in mid-step: the head runs on, uncounted."""
        self._origin = (
            self._origin[0] + velocity[0] * _SLIP_S,
            self._origin[1] + velocity[1] * _SLIP_S,
        )

    def take(self, standing_until_s: float | None = None) -> Strokes:
        """Return the strokes since the last call; `standing_until_s` when the head stands."""
        if standing_until_s is not None and standing_until_s > self._times[-1]:
            self._note(standing_until_s, self._xs[-1], self._ys[-1])
        until_s = self._times[-1]
        times = np.array(self._times)
        level_times = np.array(self._level_times) + self.beam_lag_s
        gate_times = np.array(self._gate_times)
        breaks = np.concatenate((times, level_times, gate_times))
        breaks = np.unique(breaks[(breaks >= times[0]) & (breaks <= until_s)])
        middle = (breaks[1:] + breaks[:-1]) / 2
        level = np.array(self._levels)[np.searchsorted(level_times, middle, "right") - 1]
        gate = np.array(self._gates)[np.searchsorted(gate_times, middle, "right") - 1]
        x = np.interp(breaks, times, np.array(self._xs))
        y = np.interp(breaks, times, np.array(self._ys))
        lit = (level > 0) & gate
        self._forget(until_s)
        return Strokes(
            x[:-1][lit], y[:-1][lit], x[1:][lit], y[1:][lit],
            np.diff(breaks)[lit], level[lit].astype(np.float64),
        )  # fmt: skip

    def _forget(self, until_s: float) -> None:
        del self._times[:-1], self._xs[:-1], self._ys[:-1]
        passed = sum(1 for at_s in self._level_times if at_s + self.beam_lag_s <= until_s)
        del self._level_times[: passed - 1], self._levels[: passed - 1]
        passed = sum(1 for at_s in self._gate_times if at_s <= until_s)
        del self._gate_times[: passed - 1], self._gates[: passed - 1]
