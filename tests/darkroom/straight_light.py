"""The light of a file, laid on the practice machine's tile without its controller.

In moved time the controller takes a tenth of a millisecond of processor time for every line, and
most cards are burnt to be photographed. Where it keeps up with the lines, the head goes as the
planner of preflight foretells, and the beam is set anew every hundredth of a second, as the
firmware does. Levels, lag, slack and diode are the practice machine's own.
`tests/etchpath/test_against_practice.py` holds the tile to that of a run.
"""

from io import BytesIO

import numpy as np

from etchpath.machine import Machine
from etchpath.motion.line_intake import SEGMENT_S
from etchpath.preflight import inspect

EARLY_S = 1e-9  # a stretch that ends so near to a move's end ends with it, as the firmware has it
KEPT_UP = 1 + 1e-9
# Where speed and power stay as they are, and in the middle of a dark move, one stretch does for
# many. At a dark move's ends the beam that lags behind may still be on, or on already.
PIECES_KEPT = 2


class NotKeptUp(Exception):
    """The controller is too slow for the file: how the head is slowed down takes a run."""


def lay_light(gcode, machine):
    """Let fall on the tile of `machine` what running `gcode` would; raise NotKeptUp."""
    parts = []
    described = Machine.of_head(machine.head)
    inspect(BytesIO(gcode), described, on_times=[lambda timed: parts.append(_kept_up(timed))])
    for timed in parts:
        _move(machine, _stretches(timed, described))
        assert machine.tile is not None  # asked for, the light so far falls on it


def _kept_up(timed):
    travel = timed.travel
    if (timed.seconds > travel.full_queue_s * KEPT_UP).any():
        raise NotKeptUp
    return timed


def _move(machine, stretches):
    engine = machine.controller.engine
    move, last_s = engine.track.move, None
    for from_s, to_s, x_mm, y_mm, s in zip(*stretches, strict=True):
        if s != last_s:
            engine.stepper.set_level(from_s, *engine.level_of(s))
            last_s = s
        move(from_s, to_s, (x_mm, y_mm, 0.0))


def _stretches(timed, machine):
    """Return when stretches begin and end, where they end, and their S, by the speed there."""
    toolpath, travel = timed.toolpath, timed.travel
    cosines = [np.abs(way) / travel.length_mm for way in (toolpath.dx_mm, toolpath.dy_mm)]
    along = machine.acceleration_x_mm_per_s2 / np.maximum(*cosines)  # both axes are alike
    counts = np.maximum(np.ceil((timed.seconds - EARLY_S) / SEGMENT_S), 1).astype(int)
    piece = np.repeat(np.arange(len(counts)), counts)
    number = np.arange(1, len(piece) + 1) - np.repeat(np.cumsum(counts) - counts, counts)
    entry, peak, leave, seconds, acceleration, length_mm = (
        column[piece]
        for column in (
            travel.entry_mm_per_s, travel.peak_mm_per_s, travel.exit_mm_per_s, timed.seconds,
            along, travel.length_mm,
        )
    )  # fmt: skip
    done_s = np.where(number < counts[piece], number * SEGMENT_S, seconds)
    left_s, slow_s = seconds - done_s, (peak - leave) / acceleration
    is_slowing, is_rising = left_s <= slow_s, done_s < (peak - entry) / acceleration
    speed = np.where(is_rising, entry + acceleration * done_s, peak)
    speed = np.where(is_slowing, leave + acceleration * left_s, speed)
    left_mm = (peak + leave) / 2 * slow_s + peak * (left_s - slow_s)
    left_mm = np.where(is_rising, length_mm - (entry + speed) / 2 * done_s, left_mm)
    left_mm = np.where(is_slowing, (leave + speed) / 2 * left_s, left_mm)
    x_mm, y_mm = (
        end[piece] - left_mm * (way / travel.length_mm)[piece]
        for end, way in ((toolpath.x_mm, toolpath.dx_mm), (toolpath.y_mm, toolpath.dy_mm))
    )
    from_s = timed.starts_s[piece] + np.where(number > 1, (number - 1) * SEGMENT_S, 0.0)
    to_s = timed.starts_s[piece] + done_s
    follows_speed = speed / toolpath.feed_mm_per_s[piece]
    s = toolpath.beam_s[piece] * np.where(toolpath.is_constant_power[piece], 1.0, follows_speed)
    to_last = counts[piece] - number
    is_even = ~is_rising & ~is_slowing | (s == 0) & (to_last >= PIECES_KEPT)
    ends = ~_goes_on(is_even & (number > PIECES_KEPT), piece, s)
    begins = np.append(True, ends[:-1])
    return [
        column.tolist()
        for column in (from_s[begins], to_s[ends], x_mm[ends], y_mm[ends], s[begins])
    ]


def _goes_on(is_even, piece, s):
    """Return after which pieces the next of the same move is like it, so that both are one."""
    is_like_next = is_even[:-1] & is_even[1:] & (piece[:-1] == piece[1:]) & (s[:-1] == s[1:])
    return np.append(is_like_next, False)
