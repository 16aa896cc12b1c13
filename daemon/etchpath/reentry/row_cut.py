"""One of our rows, cut: dark up to the cut, and from there on as it was written."""

import re
from dataclasses import dataclass
from typing import Final

from etchpath.errors import NoReentry
from etchpath.writer.raster import UM_PER_MM, mm_text

_NUMBER: Final = rb"(-?\d*\.?\d+)"
_RAPID: Final = re.compile(rb"G90G0X" + _NUMBER + rb"Y" + _NUMBER)
_RUN_UP: Final = re.compile(rb"G91G1X" + _NUMBER + rb"S0(?:F" + _NUMBER + rb")?")
_RUN: Final = re.compile(rb"X" + _NUMBER + rb"S(\d+)(?:F" + _NUMBER + rb")?")


@dataclass(frozen=True, slots=True)
class _Run:
    """A stretch of a row: from where to where along x, its S word, its feed as written."""

    start_um: int
    end_um: int
    s: int
    feed: bytes


def cut_row(lines: list[bytes], cut_um: int, feed: bytes) -> list[bytes] | None:
    """Return the rest of the row that `lines` write, from the cut on; None where all is burnt.

    `feed` is the F word that holds where the row does not state one. The head starts at the
    row's own run-up and crosses what is burnt already in the dark, at the row's own speed.
    Raise NoReentry for lines that are not a row of ours.
    """
    runs = _runs(lines, feed)
    is_forward = runs[0].end_um > runs[0].start_um
    left = [run for run in runs if _is_ahead(run.end_um, cut_um, is_forward=is_forward)]
    if not any(run.s for run in left):
        return None
    start_um = max(cut_um, runs[0].end_um) if is_forward else min(cut_um, runs[0].end_um)
    rest = [run for run in runs[1:] if _is_ahead(run.end_um, start_um, is_forward=is_forward)]
    dark_um = start_um - runs[0].start_um
    written = [lines[0], b"G91G1X%sS0F%s" % (mm_text(dark_um), runs[0].feed)]
    before, place_um = runs[0].feed, start_um
    for run in rest:
        change = b"" if run.feed == before else b"F" + run.feed
        written.append(b"X%sS%d%s" % (mm_text(run.end_um - place_um), run.s, change))
        before, place_um = run.feed, run.end_um
    return written


def _is_ahead(end_um: int, place_um: int, *, is_forward: bool) -> bool:
    return end_um > place_um if is_forward else end_um < place_um


def _runs(lines: list[bytes], feed: bytes) -> list[_Run]:
    """Return the run-up and all that follows it as places along x."""
    if len(lines) < 3:
        raise NoReentry("the job sheet does not point at a whole row")
    rapid, run_up = _RAPID.fullmatch(lines[0]), _RUN_UP.fullmatch(lines[1])
    if rapid is None or run_up is None:
        raise NoReentry("the job sheet does not point at the beginning of a row")
    place_um = _um(rapid[1])
    feed = run_up[2] or feed
    runs = [_Run(place_um, place_um + _um(run_up[1]), 0, feed)]
    for line in lines[2:]:
        run = _RUN.fullmatch(line)
        if run is None:
            raise NoReentry(f"this is not a line of our own rows: {line[:40].decode('latin-1')}")
        place_um = runs[-1].end_um
        feed = run[3] or feed
        runs.append(_Run(place_um, place_um + _um(run[1]), int(run[2]), feed))
    return runs


def _um(text: bytes) -> int:
    return round(float(text) * UM_PER_MM)
