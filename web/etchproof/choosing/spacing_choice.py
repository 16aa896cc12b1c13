"""From a spacing card to a line spacing: the fastest whose lines still close, with a reserve.

A phone does not resolve lines a tenth of a millimetre apart. But white that is left between lines
makes a solid patch brighter on the whole, and a photo shows that well: lines have closed where
their patch is as dark as the darkest. Stripes are seen from half a millimetre on, as unevenness.

Lines further apart need more dose to close, so what closes at the recipe's dose may have used up
its reserve: another spacing is recommended with a reserve beyond the dose that it closed with.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from etchproof.card import HALFTONE, SOLID, SPACING, Card, Patch
from etchproof.choosing.judging import PLATEAU_L
from etchproof.choosing.marked_patches import MarkedPatch, Setting, mark_for
from etchproof.choosing.reserve import RESERVE
from etchproof.errors import NoSpacing
from etchproof.layout.reach import photo_time_s
from etchproof.layout.spacing_card import spacing_of
from etchproof.reading.hand_marks import Mark
from etchproof.reading.values import PatchReading, Reading

PICTURE_MM: Final = 100.0  # the side of the picture whose time is told
LEAST_SPACINGS: Final = 3
LEAST_DARK_L: Final = 85.0  # paler, and nothing was burnt that could close
SAME_MM: Final = 1e-6
STRIPED_L: Final = 1.0  # of unevenness beyond the calmest patch's: our choice
LIGHTER_L: Final = 1.0  # than the darkest patch: what a reading scatters is less (by simulation)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacingSeen:
    """One line spacing: how dark its solid and its half-burnt patch are, and what a photo takes.

    `white_left` is the share of the solid patch that reflects as bare tile does. `lighter_l` is how
    much lighter than the darkest patch it is, `more_uneven_l` how much less even than the calmest.
    `mark` is what a hand found on its solid patch, `said` that or what earlier cards say of it.
    A recipe at this spacing runs at `kept_feed_mm_per_min`, which is slower than what was burnt by
    the reserve.
    """

    cell: str
    spacing_mm: float
    feed_mm_per_min: float
    kept_feed_mm_per_min: float
    lightness: float
    half_lightness: float | None
    white_left: float
    unevenness: float
    lighter_l: float
    more_uneven_l: float
    has_closed: bool
    photo_s: float
    mark: Mark | None = None
    said: Mark | None = None

    @property
    def is_left_out(self) -> bool:
        """Whether hands found that it rubs off, or that the glaze would be damaged."""
        return self.said in (Mark.RUBS_OFF, Mark.GLAZE_DAMAGED)

    @property
    def is_paler(self) -> bool:
        """Whether it is lighter than the darkest patch by more than what a reading scatters."""
        return self.lighter_l > LIGHTER_L

    @property
    def is_striped(self) -> bool:
        """Whether it is less even than the calmest patch, as stripes make it."""
        return self.more_uneven_l > STRIPED_L


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacingReading:
    """What a spacing card showed, from the finest spacing on.

    `coarsest` is the last whose lines close, `best` the one of those that hold with which a
    picture takes least time; `recipe_mm` is the spacing that the card was laid out round.
    """

    seen: tuple[SpacingSeen, ...]
    coarsest: SpacingSeen
    best: SpacingSeen
    recipe_mm: float
    px_per_mm: float

    @property
    def at_recipe(self) -> SpacingSeen:
        """The spacing of the recipe."""
        return min(self.seen, key=lambda one: abs(one.spacing_mm - self.recipe_mm))

    @property
    def coarser(self) -> SpacingSeen | None:
        """The finest spacing whose lines no longer close, None where the card has none."""
        return next((one for one in self.seen if one.spacing_mm > self.coarsest.spacing_mm), None)


def read_spacing(
    card: Card,
    reading: Reading,
    marks: Mapping[str, Mark] | None = None,
    marked_before: Sequence[MarkedPatch] = (),
) -> SpacingReading:
    """Return what a spacing card shows, read by camera, with what hands found on patches.

    `marked_before` are patches of earlier cards. Raise NoSpacing where it shows nothing.
    """
    marks = marks or {}
    if card.kind != SPACING:
        raise NoSpacing(f"card {card.number} is no spacing card")
    solids: list[tuple[Patch, PatchReading]] = []
    for patch in card.patches:
        read = reading.of(patch.cell, SOLID)
        if patch.part == SOLID and read is not None:
            solids.append((patch, read))
    if len(solids) < LEAST_SPACINGS:
        raise NoSpacing(
            f"only {len(solids)} line spacings can be read: take the picture again so that all of "
            "the card is in it"
        )
    darkest = min((read for _, read in solids), key=lambda one: one.lightness)
    if darkest.lightness > LEAST_DARK_L:
        raise NoSpacing(
            f"the darkest patch has lightness {darkest.lightness:.0f}: the recipe does not blacken "
            "this surface, so burn a power card first"
        )
    calmest = min(read.unevenness for _, read in solids)
    seen = []
    for patch, read in sorted(solids, key=lambda pair: pair[0].rows_apart):
        half = reading.of(patch.cell, HALFTONE)
        white = (read.reflectance - darkest.reflectance) / (1 - darkest.reflectance)
        spacing_mm = spacing_of(card, patch)
        is_own = abs(spacing_mm - card.recipe.line_spacing_mm) < SAME_MM
        kept = patch.feed_mm_per_min if is_own else patch.feed_mm_per_min / (1 + RESERVE)
        kept_setting = Setting(patch.power_ratio, kept, spacing_mm)
        mark = marks.get(patch.cell)
        is_open = mark in (None, Mark.COULD_NOT_TELL)
        seen.append(
            SpacingSeen(
                cell=patch.cell,
                mark=mark,
                said=mark_for(kept_setting, marked_before) if is_open else mark,
                spacing_mm=spacing_mm,
                feed_mm_per_min=patch.feed_mm_per_min,
                kept_feed_mm_per_min=float(f"{kept:.3g}"),
                lightness=read.lightness,
                half_lightness=half.lightness if half else None,
                white_left=max(0.0, white),
                unevenness=read.unevenness,
                lighter_l=read.lightness - darkest.lightness,
                more_uneven_l=read.unevenness - calmest,
                has_closed=read.lightness <= darkest.lightness + PLATEAU_L,
                photo_s=photo_time_s(
                    card.head,
                    spacing_mm,
                    card.halftone,
                    feed_mm_per_min=kept,
                    side_mm=PICTURE_MM,
                ),
            )
        )
    closed = [one for one in seen if one.has_closed]
    holding = [one for one in closed if not one.is_left_out]
    if not holding:
        raise NoSpacing(
            "every spacing whose lines close rubs off or would damage the glaze: burn a power card"
        )
    return SpacingReading(
        seen=tuple(seen),
        coarsest=closed[-1],
        best=min(holding, key=lambda one: one.photo_s),
        recipe_mm=card.recipe.line_spacing_mm,
        px_per_mm=min((photo.px_per_mm for photo in reading.photos), default=0.0),
    )
