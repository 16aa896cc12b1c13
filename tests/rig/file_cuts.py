"""Another program's file cut at moments drawn by a seed, taken up again, and its strokes judged."""

import random
from dataclasses import dataclass

import numpy as np

from etchpath.foreign_job import write_foreign_job
from etchpractice.tile.exposure import CELL_MM
from etchwire.catalogue.examples import PRACTICE_HEADS

HEAD = PRACTICE_HEADS["practice-20w"]
NOT_MOVED = "tile and head have not moved"
STROKES, FROM_MM, TO_MM, APART_MM = 24, 5.0, 20.0, 0.5
# Our own hatching: the modes, the feed and the power are said once and held.
HATCHING = "G21G90G94\nM4S0\nF1500\n" + "".join(
    f"G0X{FROM_MM:g}Y{5 + APART_MM * n:g}\nG1X{TO_MM:g}S600\n" for n in range(STROKES)
) + "M5\nG0X0Y0\nM2\n"  # fmt: skip
WEAK, TWICE = 0.35, 1.3  # of a stroke's light, as in seeded_cuts
SEEN_MM = 0.1


@dataclass(frozen=True)
class Gap:
    """What came of one cut: the gap that was told, and what the tile shows, in mm of a stroke."""

    told_mm: float
    missing_mm: float
    twice_mm: float
    strokes_amiss: int

    @property
    def is_wrong(self):
        """Whether more is missing than was told, or anything was burnt twice."""
        is_more = self.missing_mm > self.told_mm + SEEN_MM
        return is_more or self.twice_mm > SEEN_MM or self.strokes_amiss > 1


def start(rig, text):
    source, folder = rig.folder / "given.nc", rig.folder / "given"
    source.write_text(text)
    folder.mkdir()
    write_foreign_job(source, folder, head=HEAD, surface="practice tile, white paint")
    rig.start(folder)


def cut(rig, draw):
    rig.wait_until(lambda: rig.machine.is_burning)
    rig.wait(draw.uniform(0.05, 10.0))
    if draw.random() < 0.5:
        rig.machine.controller.engine.say("error:20")
    else:
        rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()


def outlook(rig, run=1):
    return rig.request("unfinished", run=run, row=None)


def go_on(rig, run=1):
    rig.ask("reenter", run=run, confirm=NOT_MOVED, row=None, accept_gap=True)
    rig.wait_until(lambda: "start" in rig.commands.snapshot().may)
    rig.ask("start")
    rig.wait_for_the_end()
    assert rig.run.ended == "complete", rig.run.because


def light(rig):
    """Return the light on each stroke: (strokes, cells along x)."""
    columns = round((TO_MM - FROM_MM) / CELL_MM)
    rows = [round((5 + APART_MM * n) / CELL_MM) - 4 for n in range(STROKES)]
    cells = rig.machine.tile.exposure
    return np.array(
        [cells.window(round(FROM_MM / CELL_MM), row, columns, 8).sum(axis=0) for row in rows]
    )


def gap_of(rig, seed, at_once):
    """Cut the hatching, take it up again, and compare its light with that of a whole one."""
    start(rig, HATCHING)
    cut(rig, random.Random(seed))
    told = outlook(rig)
    assert told["may"], (seed, told["why_not"])
    go_on(rig)
    is_lit = at_once > 0.5 * np.median(at_once)
    share = np.where(is_lit, light(rig) / np.where(is_lit, at_once, 1.0), 1.0)
    missing_mm = np.where(share < WEAK, 1 - share, 0.0).sum(axis=1) * CELL_MM
    return Gap(
        told_mm=told["gap_mm"],
        missing_mm=float(missing_mm.max()),
        twice_mm=float((share > TWICE).sum(axis=1).max() * CELL_MM),
        strokes_amiss=int(np.count_nonzero(missing_mm > SEEN_MM)),
    )
