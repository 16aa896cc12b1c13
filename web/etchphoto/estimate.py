"""What will go wrong on the tile, told before anything is burnt.

The limits are the trade's, not physics': common practice, no source. Each sentence says what to
do about it.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.writer.raster import Bits
from etchphoto.findings import PhotoFinding
from etchphoto.light import lightness
from etchwire.sheet import Sheet

Floats = NDArray[np.floating[Any]]

GREY_BETWEEN: Final = (0.15, 0.85)  # of the area looks burnt: neither paper nor ink
FEW_GREYS: Final = 0.1
ART_SPREAD: Final = 0.6  # between the lightest and the darkest dots of a drawing
FLAT_BELOW: Final = 40.0  # points of L* between the darkest and the lightest twentieth
MUCH_BURNT: Final = 0.75
DARK_EDGE: Final = 0.85
_EDGE_SHARE: Final = 12  # the background is looked for in a frame of a twelfth of each side
_SLOWER_BY: Final = 1.1
SLOW_ROWS: Final = 0.05  # a row here and there harms nobody


def picture_findings(
    coverage: Floats, bits: Bits, *, is_lettering: bool = False
) -> tuple[PhotoFinding, ...]:
    """Return what shares that look burnt, and the dots, let one expect.

    `bits` is as in `etchpath.writer.raster`, True = burnt.
    """
    return (*grey_findings(coverage, is_lettering=is_lettering), *dot_findings(bits))


def grey_findings(coverage: Floats, *, is_lettering: bool = False) -> tuple[PhotoFinding, ...]:
    """Return what the picture's greys, as shares that look burnt, let one expect."""
    if _is_black_and_white(coverage):
        return () if is_lettering else (PhotoFinding("black-and-white-art", _BLACK_AND_WHITE),)
    darkest, lightest = lightness(1 - np.percentile(coverage[::4, ::4], (95, 5)))
    spread = float(lightest - darkest)
    if spread >= FLAT_BELOW:
        return ()
    sentence = (
        f"The picture is flat: its darkest and its lightest parts are only {spread:.0f} of 100 "
        "steps of grey apart, and a tile shows fewer than a screen. Raise the contrast."
    )
    return (PhotoFinding("flat", sentence),)


def _is_black_and_white(coverage: Floats) -> bool:
    """Return whether hardly anything is grey and there is both paper and ink."""
    low, high = GREY_BETWEEN
    greys = float(np.mean((coverage > low) & (coverage < high)))
    spread = float(np.ptp(coverage))
    return greys < FEW_GREYS and spread > ART_SPREAD


_BLACK_AND_WHITE: Final = (
    "Hardly anything in this picture is grey: it looks like lettering or a drawing. Etched as a "
    "photo its edges come out ragged. Choose lettering for the dots; contrast changes nothing here."
)


def dot_findings(bits: Bits) -> tuple[PhotoFinding, ...]:
    """Return what the dots (`etchpath.writer.raster`) let one expect of smoke and blotches."""
    share, edge = float(bits.mean()), _edge_share(bits)
    if edge > DARK_EDGE:
        sentence = (
            f"The background is dark: {edge * 100:.0f} % of the edge is burnt. Large black areas "
            "smoke, and the smoke settles as blotches. A light background etches better: crop it "
            "away, or make the picture lighter."
        )
        return (PhotoFinding("dark-background", sentence),)
    if share > MUCH_BURNT:
        sentence = (
            f"{share * 100:.0f} % of the tile is burnt. That much smoke settles as blotches: make "
            "the picture lighter, and see that the extraction draws well."
        )
        return (PhotoFinding("much-burnt", sentence),)
    return ()


def _edge_share(bits: Bits) -> float:
    rows, columns = bits.shape[:2]
    deep, wide = max(1, rows // _EDGE_SHARE), max(1, columns // _EDGE_SHARE)
    is_edge = np.ones((rows, columns), dtype=bool)
    is_edge[deep : rows - deep, wide : columns - wide] = False
    return float(bits[is_edge].mean())


def speed_findings(sheet: Sheet) -> tuple[PhotoFinding, ...]:
    """Return whether the detail lets the head run as fast as the recipe says."""
    slow = slow_rows_share(sheet)
    if slow <= SLOW_ROWS:
        return ()
    sentence = (
        f"In {slow * 100:.0f} % of the rows the detail is too fine for "
        f"{sheet.recipe.feed_mm_per_min:g} mm/min: the head slows down there, and the power with "
        "it. Where it must be even, use a slower recipe or a softer picture."
    )
    return (PhotoFinding("slowed-by-detail", sentence),)


def slow_rows_share(sheet: Sheet) -> float:
    """Return the share of etched rows that take a tenth longer than an empty row of their length.

    The motion model is in the sheet's times; what the serial line carries is counted here.
    """
    at_s = np.array([entry.at_s for entry in sheet.index])
    byte = np.array([entry.byte for entry in sheet.index])
    ends_mm = np.array([(entry.from_mm, entry.to_mm) for entry in sheet.index])
    if len(at_s) < 2:
        return 0.0
    way_mm = np.abs(ends_mm[:, 1] - ends_mm[:, 0])[:-1]
    back_mm = np.abs(ends_mm[1:, 0] - ends_mm[:-1, 1])
    least_s = _seconds(way_mm, sheet.recipe.feed_mm_per_min, sheet)
    between_s = np.diff(at_s) - _seconds(back_mm, sheet.head.max_feed_mm_per_min, sheet)
    wire_s = np.diff(byte) / Machine.of_head(sheet.head).bytes_per_s
    return float(np.mean(np.maximum(between_s, wire_s) > _SLOWER_BY * least_s))


def _seconds(way_mm: Floats, feed_mm_per_min: float, sheet: Sheet) -> Floats:
    """Return how long a way takes from rest to rest: v² = 2as at both ends."""
    acceleration = sheet.head.acceleration_mm_per_s2
    speed = feed_mm_per_min / SECONDS_PER_MINUTE
    is_short = way_mm < speed**2 / acceleration
    return np.where(
        is_short, 2 * np.sqrt(way_mm / acceleration), way_mm / speed + speed / acceleration
    )
