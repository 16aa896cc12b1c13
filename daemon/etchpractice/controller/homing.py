"""The homing cycle: to the switches, off them, and a known position."""

from collections.abc import Callable, Generator, Sequence
from typing import Final

from etchpractice.controller.engine import Engine
from etchpractice.controller.states import Alarm, State
from etchpractice.wire import NEVER_S

_SEARCHES_TRAVELS: Final = 1.5  # so far for a switch, in travels of the axis

Waits = Generator[float, None, None]


def home(engine: Engine, *, obey: Callable[[], None]) -> Waits:
    """Find the switches at the ends that `$23` names, 1 for the low end, one cycle after another.

    Nothing is answered meanwhile; real-time bytes are obeyed (`obey`) when all is done.
    """
    engine.state = State.HOME
    for axes in engine.firmware.homing_cycles:
        yield from _home_together(engine, axes)
    engine.is_homed = True
    obey()
    engine.state = State.IDLE


def _home_together(engine: Engine, axes: Sequence[int]) -> Waits:
    settings, limits, place = engine.settings, engine.limits, engine.stepper.place
    seek, feed, pull_off = settings[25] / 60, settings[24] / 60, settings[27]
    low_ends = int(settings[23])
    signs = {axis: -1 if low_ends >> axis & 1 else 1 for axis in axes}
    reaches = {axis: _SEARCHES_TRAVELS * settings[130 + axis] for axis in axes}
    ways = {axis: limits.way_mm(axis, place[axis], to_low=signs[axis] < 0) for axis in axes}
    if any(ways[axis] > reaches[axis] for axis in axes):
        yield from _last(engine, max(reaches.values()) / seek)
        for axis in axes:  # counted, though the head has long stood at the frame
            bed_mm = limits.bed_mm(axis, place[axis])
            place_mm = place[axis] + signs[axis] * reaches[axis]
            engine.put(axis, place_mm=place_mm, bed_mm=bed_mm)
        yield from _fail(engine, Alarm.HOMING_NO_SWITCH)
    # To the switch, off it, slowly to it once more, and off it for good; a pause after each.
    seconds = (max(ways.values()) + 2 * pull_off) / seek + pull_off / feed + 4 * settings[26] / 1000
    yield from _last(engine, seconds)
    for axis in axes:
        switch_mm = limits.bed_mm(axis, place[axis]) + signs[axis] * ways[axis]
        bed_mm = switch_mm - signs[axis] * pull_off
        home_mm = -pull_off if signs[axis] > 0 else pull_off - settings[130 + axis]
        engine.put(axis, place_mm=home_mm, bed_mm=bed_mm)
    if not limits.closed(engine.stepper.place).isdisjoint(axes):
        yield from _fail(engine, Alarm.HOMING_PULL_OFF)


def _last(engine: Engine, seconds: float) -> Waits:
    until_s = engine.now_s + seconds
    engine.be_busy_until(until_s)
    yield until_s


def _fail(engine: Engine, alarm: Alarm) -> Waits:
    engine.raise_alarm(alarm)
    yield NEVER_S  # the controller restarts
