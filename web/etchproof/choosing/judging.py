"""Judging: which cells of a power card are fit to be chosen, and why the others are not."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from etchproof.card import HALFTONE, REALLY_RUN, SOLID, Card
from etchproof.choosing.marked_patches import MarkedPatch, Setting, mark_for
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import PatchReading, Reading
from etchwire.catalogue.heads import dose_j_per_mm2

BLACK_L: Final = 50.0  # half way to white: lighter is no black, even if nothing is darker
PLATEAU_L: Final = 3.0  # lighter by less, side by side, looks the same (our choice)
PLATEAU_DOSES: Final = 2.0  # twice the dose for no more darkness is a plateau (our choice)
UNEVEN_L: Final = 3.0  # scatter inside a patch that an eye sees as blotches (our choice)


class Judgement(StrEnum):
    """What a cell is; all but the first keep it from being chosen."""

    FIT = "as dark as any"
    TOO_LIGHT = "too light"
    BURNT_TOO_FAR = "burnt too far"
    UNEVEN = "uneven"
    RUBS_OFF = "rubs off"
    GLAZE_DAMAGED = "glaze damaged"
    NOT_READ = "not read"


_BY_HAND: Final = {
    Mark.GOOD: Judgement.FIT,
    Mark.TOO_LIGHT: Judgement.TOO_LIGHT,
    Mark.RUBS_OFF: Judgement.RUBS_OFF,
    Mark.GLAZE_DAMAGED: Judgement.GLAZE_DAMAGED,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One cell of a power card with all that is known of it.

    `photo_feed_mm_per_min` is what fine detail really ran at. Reflectance, lightness and
    unevenness are the solid half's; `halftone_coverage` is how much of the halftone half looks
    burnt, of which half was.
    """

    name: str
    card_number: int
    feed_mm_per_min: float
    photo_feed_mm_per_min: float
    power_ratio: float
    line_spacing_mm: float
    reflectance: float | None
    lightness: float | None
    unevenness: float | None
    halftone_coverage: float | None
    mark: Mark | None
    judgement: Judgement

    @property
    def is_really_run(self) -> bool:
        """Whether a photo would run at the speed asked for."""
        return self.photo_feed_mm_per_min >= REALLY_RUN * self.feed_mm_per_min

    @property
    def setting(self) -> Setting:
        """What it was burnt with."""
        return Setting(self.power_ratio, self.feed_mm_per_min, self.line_spacing_mm)

    def dose_j_per_mm2(self, rated_optical_w: float) -> float:
        """Return the energy that a laser of that rating put on each square millimetre."""
        return dose_j_per_mm2(
            power_w=rated_optical_w * self.power_ratio,
            feed_mm_per_min=self.feed_mm_per_min,
            line_spacing_mm=self.line_spacing_mm,
        )


def judge(
    card: Card,
    reading: Reading | None,
    marks: Mapping[str, Mark],
    *,
    darkest_known: float | None = None,
    marked_before: Sequence[MarkedPatch] = (),
) -> tuple[Cell, ...]:
    """Return every cell of a power card with its judgement.

    `darkest_known` is the lightness of the darkest sound patch of an earlier card of the same
    head and surface: a finer card may hold no darker one, and must not lower the standard.
    `marked_before` are the patches of those cards that were marked by hand.
    """
    read = {name: reading.of(name, SOLID) if reading else None for name in card.cells()}
    halftones = {name: reading.of(name, HALFTONE) if reading else None for name in card.cells()}
    cells = tuple(
        _cell(card, name, read[name], halftones[name], mark=marks.get(name))
        for name in card.cells()
    )
    marked = (*marked_before, *marked_patches(cells))
    said = {cell.name: _said_of(cell, marked) for cell in cells}
    darkest = _darkest(read, said)
    if darkest_known is not None:
        darkest = min(darkest_known, darkest if darkest is not None else darkest_known)
    return _marked_too_far(
        tuple(
            replace(cell, judgement=_judgement(read[cell.name], said[cell.name], cell, darkest))
            for cell in cells
        )
    )


def marked_patches(cells: Sequence[Cell]) -> tuple[MarkedPatch, ...]:
    """Return the cells that a hand marked, named with their card."""
    return tuple(
        MarkedPatch(f"{cell.name} of card {cell.card_number}", cell.setting, cell.mark)
        for cell in cells
        if cell.mark is not None
    )


def _said_of(cell: Cell, marked: Sequence[MarkedPatch]) -> Mark | None:
    """Return what hands say of a cell, by its own mark or by those on other patches."""
    if cell.mark is None or cell.mark is Mark.COULD_NOT_TELL:
        return mark_for(cell.setting, marked)
    return cell.mark


def _judgement(
    read: PatchReading | None, said: Mark | None, cell: Cell, darkest: float | None
) -> Judgement:
    """Return the judgement of hand and camera together.

    A patch too light by camera stays so when a stronger one rubs off: it is a point of the curve.
    """
    by_camera = _by_camera(read, darkest)
    if said is None:
        return by_camera
    if said is Mark.RUBS_OFF and cell.mark is None and by_camera is Judgement.TOO_LIGHT:
        return by_camera
    return _BY_HAND[said]


def _marked_too_far(cells: tuple[Cell, ...]) -> tuple[Cell, ...]:
    """Tell apart cells that are too light for too much: with less, another is darker.

    Less is no more power at no less speed than a fit one's, or less power at the same speed than
    that of any even one: a surface that is never dark enough may still be burnt too far.
    """

    def is_too_far(cell: Cell) -> bool:
        return (
            cell.judgement is Judgement.TOO_LIGHT
            and cell.mark is None
            and any(_is_darker_for_less(one, cell) for one in cells)
        )

    return tuple(
        replace(cell, judgement=Judgement.BURNT_TOO_FAR) if is_too_far(cell) else cell
        for cell in cells
    )


def _is_darker_for_less(one: Cell, cell: Cell) -> bool:
    if one.judgement is Judgement.FIT:
        return one.power_ratio <= cell.power_ratio and one.feed_mm_per_min >= cell.feed_mm_per_min
    return (
        one.judgement is Judgement.TOO_LIGHT
        and one.lightness is not None
        and cell.lightness is not None
        and one.feed_mm_per_min == cell.feed_mm_per_min
        and one.power_ratio < cell.power_ratio
        and one.lightness < cell.lightness - PLATEAU_L
    )


def darkest_sound(cells: Sequence[Cell]) -> float | None:
    """Return the lightness of the darkest fit cell, None where nothing was read by camera."""
    return min(
        (c.lightness for c in cells if c.judgement is Judgement.FIT and c.lightness is not None),
        default=None,
    )


def is_plateau(cells: Sequence[Cell]) -> bool:
    """Return whether the fit cells are as dark as this surface gets, however pale that is.

    They are where twice the dose made one no darker, or where more only burnt it too far.
    """
    fit = [cell for cell in cells if cell.judgement is Judgement.FIT]
    return any(
        cell.setting.burns_no_less_than(one.setting)
        and (
            cell.judgement in (Judgement.BURNT_TOO_FAR, Judgement.GLAZE_DAMAGED)
            or (cell.judgement is Judgement.FIT and _times_the_dose(cell, one) >= PLATEAU_DOSES)
        )
        for one in fit
        for cell in cells
    )


def _times_the_dose(cell: Cell, one: Cell) -> float:
    return cell.dose_j_per_mm2(1.0) / one.dose_j_per_mm2(1.0)


def _darkest(
    read: Mapping[str, PatchReading | None], marks: Mapping[str, Mark | None]
) -> float | None:
    """Return the lightness of the darkest patch that is even, holds and is undamaged."""
    sound = [
        patch.lightness
        for name, patch in read.items()
        if patch is not None
        and marks.get(name) in (None, Mark.GOOD)
        and (patch.unevenness <= UNEVEN_L or marks.get(name) is Mark.GOOD)
    ]
    return min(sound, default=None)


def _cell(
    card: Card,
    name: str,
    read: PatchReading | None,
    halftone_read: PatchReading | None,
    *,
    mark: Mark | None,
) -> Cell:
    by_part = {patch.part: patch for patch in card.cells()[name]}
    solid, halftone = by_part[SOLID], by_part.get(HALFTONE, by_part[SOLID])
    return Cell(
        name=name,
        card_number=card.number,
        feed_mm_per_min=solid.feed_mm_per_min,
        photo_feed_mm_per_min=halftone.true_feed_mm_per_min,
        power_ratio=solid.power_ratio,
        line_spacing_mm=card.spacing_mm,
        reflectance=read.reflectance if read else None,
        lightness=read.lightness if read else None,
        unevenness=read.unevenness if read else None,
        halftone_coverage=_coverage(read, halftone_read),
        mark=mark,
        judgement=Judgement.NOT_READ,
    )


def _coverage(solid: PatchReading | None, halftone: PatchReading | None) -> float | None:
    """Return the effective coverage of the halftone half (Murray-Davies), None where unknown."""
    if solid is None or halftone is None or solid.reflectance >= 1:
        return None
    return (1 - halftone.reflectance) / (1 - solid.reflectance)


def _by_camera(read: PatchReading | None, darkest: float | None) -> Judgement:
    if read is None or darkest is None:
        return Judgement.NOT_READ
    if read.unevenness > UNEVEN_L:
        return Judgement.UNEVEN
    if read.lightness > darkest + PLATEAU_L:
        return Judgement.TOO_LIGHT
    return Judgement.FIT
