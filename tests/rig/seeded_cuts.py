"""Etches cut at moments drawn by a seed, taken up again, and the tile held against a whole one."""

import random
from dataclasses import dataclass

import numpy as np
import pytest

from etchdaemon.errors import CommandRefused
from etchpractice.machine import PracticeMachine
from etchpractice.tile.exposure import CELL_MM
from rig.bench import STEP_S
from rig.guarded import GuardedRig

ROWS, COLUMNS = 7, 160
CELLS_A_ROW = 4  # rows are 0.1 mm apart
# Of a dot's light: steps of the power change it by less; below WEAK the head had nearly stopped.
WEAK, TWICE = 0.35, 1.3
SEEN_MM = 0.05  # half a dot: less is the edge of one that was cut in two
NOT_MOVED = "tile and head have not moved"
LID, STALLED, REFUSED = "lid", "lid while the computer is busy", "refused line"
STOPPED, HELD = "stop", "hold now, stop"
CAUSES = (LID, LID, LID, LID, STALLED, REFUSED, STOPPED, HELD)
KINDS = (
    {"feed_mm_per_min": 4000.0},
    {"feed_mm_per_min": 1500.0},
    {"feed_mm_per_min": 4000.0, "is_both_directions": False},
)


@dataclass(frozen=True)
class Seam:
    """What came of one cut; `overlap_mm` is negative for a gap, None where none is in a row."""

    seed: int
    cause: str
    is_at_turn: bool
    rows_named: int
    is_wrong: bool
    overlap_mm: float | None
    error_mm: float


def bits_of(seed):
    """Return rows with ends of their own, solid but for a few gaps: our own invention."""
    draw = random.Random(seed)
    bits = np.zeros((ROWS, COLUMNS), dtype=bool)
    for row in bits:
        row[draw.randrange(40) : COLUMNS - draw.randrange(40)] = True
        for _ in range(2):
            at = draw.randrange(COLUMNS)
            row[at : at + draw.randrange(1, 12)] = False
    return bits


class SeededCuts:
    """Cuts on one firmware's practice machine; a whole etch of each kind of job to compare with."""

    def __init__(self, firmware, folder):
        self.firmware = firmware
        self.folder = folder
        self._whole = {}

    def seam(self, seed):
        """Cut one etch, take it up again and return what came of it."""
        draw = random.Random(seed)
        kind, feed_percent = draw.randrange(len(KINDS)), draw.choice((100, 100, 130))
        cause, is_at_turn = draw.choice(CAUSES), draw.random() < 0.5
        with self._rig(f"cut-{seed}") as rig:
            folder = rig.make_job(bits_of(kind), **KINDS[kind])
            sheet = rig.start(folder)
            rig.ask("set_feed", percent=feed_percent)
            _wait_for_the_moment(rig, sheet, draw, is_at_turn=is_at_turn)
            _cut(rig, cause, draw)
            rig.wait_for_the_end()
            found = rig.record
            either = _places(found)
            if either:
                _take_up(rig, sheet, either, feed_percent)
            else:
                _assert_nothing_is_left(rig)
            light = _light(rig, sheet)
        overlaps_mm = _overlaps_mm(light, self._whole_light(kind, feed_percent), sheet)
        return _seam(seed, cause, is_at_turn, either, overlaps_mm)

    def _rig(self, name):
        folder = self.folder / name
        folder.mkdir()
        return GuardedRig(folder, PracticeMachine(firmware=self.firmware))

    def _whole_light(self, *kind):
        if kind not in self._whole:
            number, feed_percent = kind
            with self._rig(f"whole-{number}-{feed_percent}") as rig:
                sheet = rig.start(rig.make_job(bits_of(number), **KINDS[number]))
                rig.ask("set_feed", percent=feed_percent)
                rig.wait_for_the_end()
                assert rig.run.ended == "complete"
                self._whole[kind] = _light(rig, sheet)
        return self._whole[kind]


def _wait_for_the_moment(rig, sheet, draw, *, is_at_turn):
    """Step to a moment drawn from the whole etch, or from about the end of a row of it."""
    until_s = draw.random() * sheet.index[-1].at_s
    place = draw.randrange(ROWS)
    rig.wait_until(lambda: rig.machine.is_burning)
    if is_at_turn:
        entry = sheet.index[place]
        near_mm = draw.uniform(1.0, 5.0)
        rig.wait_until(lambda: _is_near_the_end(rig, sheet, entry, near_mm) or rig.state == "ended")
        rig.wait(draw.random() * 0.25)
    else:
        rig.wait(until_s)
    rig.machine.advance(draw.random() * STEP_S)  # the loop's step is no beat of the world's


def _is_near_the_end(rig, sheet, entry, near_mm):
    x_mm, y_mm = rig.machine.head_mm
    return abs(y_mm - entry.y_mm) < 0.02 and abs(x_mm - entry.to_mm) < near_mm


def _cut(rig, cause, draw):
    if cause in (LID, STALLED):
        rig.board.open_lid()
        rig.machine.advance(draw.uniform(0.02, 0.25) if cause == STALLED else 0.0)
    elif cause == REFUSED:
        rig.machine.faults.refuse_next_line(20)
    elif cause == STOPPED:
        rig.ask("stop")
    else:
        rig.ask("hold_now")
        rig.wait_until(lambda: rig.state in ("held", "ended"))
        if rig.state == "held":
            rig.ask("stop")


def _places(record):
    """Return the rows in which the record says that the cut may be; none after the last dot."""
    if record.end["etched_rows"] == ROWS:
        return []
    cuts = [event["details"] for event in record.events if event["kind"] == "cut"]
    if cuts:
        return [cuts[-1], *cuts[-1].get("or", ())]
    assert "unbegun" in record.kinds(), record.kinds()
    return [{"row": 0, "x_mm": 0.0, "error_mm": 0.0, "is_whole": True}]


def _assert_nothing_is_left(rig):
    rig.board.close_lid()
    rig.get_ready()
    assert rig.commands.snapshot().unfinished is None
    with pytest.raises(CommandRefused, match=r"complete|nothing of it is left"):
        rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None)


def _take_up(rig, sheet, either, feed_percent):
    row = None if len(either) == 1 else _row_by_eye(rig, sheet, either)
    rig.board.close_lid()
    rig.get_ready()
    rig.wait(0.5)
    if rig.tripped:
        rig.reset()
    rig.ask("reenter", run=1, confirm=NOT_MOVED, row=row)
    rig.arm()
    rig.ask("start")
    rig.ask("set_feed", percent=feed_percent)
    rig.wait_for_the_end()
    assert rig.run.ended == "complete", rig.run.because


def _row_by_eye(rig, sheet, either):
    """Return the lower of two rows where the tile shows that it was begun, as a person sees it."""
    light = _light(rig, sheet)
    lower = either[1]["row"]
    return lower if light[lower].any() else either[0]["row"]


def _light(rig, sheet):
    """Return what light fell on each row: (rows, cells along x), top row first."""
    picture, cells = sheet.picture, rig.machine.tile.exposure
    left, width = round(picture.left_mm / CELL_MM) - CELLS_A_ROW, COLUMNS * CELLS_A_ROW
    light = [
        cells.window(left, round(entry.y_mm / CELL_MM) - 2, width + 2 * CELLS_A_ROW, CELLS_A_ROW)
        for entry in sheet.index
    ]
    return np.array(light).sum(axis=1)


def _overlaps_mm(light, whole, sheet):
    """Return of each row how much of it was burnt twice, and how much not at all."""
    is_lit = whole > 0.5 * np.median(whole[whole > 0])
    share = np.where(is_lit, light / np.where(is_lit, whole, 1.0), 1.0)
    twice = np.where(share > TWICE, share - 1, 0.0).sum(axis=1) * CELL_MM
    missing = np.where(share < WEAK, 1 - share, 0.0).sum(axis=1) * CELL_MM
    return list(zip(twice, missing, strict=True))


def _seam(seed, cause, is_at_turn, either, overlaps_mm):
    """Judge it: only in a named row, and there within the logged error, may light differ."""
    errors_mm = {place["row"]: place["error_mm"] for place in either if not place.get("is_whole")}
    amiss = [
        row
        for row, differing in enumerate(overlaps_mm)
        if max(differing) > errors_mm.get(row, 0.0) + SEEN_MM
    ]
    seams = [
        twice - missing for row, (twice, missing) in enumerate(overlaps_mm) if row in errors_mm
    ]
    return Seam(
        seed=seed,
        cause=cause,
        is_at_turn=is_at_turn,
        rows_named=len(either),
        is_wrong=bool(amiss),
        overlap_mm=max(seams, key=abs, default=None),
        error_mm=max(errors_mm.values(), default=0.0),
    )
