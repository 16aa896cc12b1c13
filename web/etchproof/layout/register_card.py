"""Register cards: hairlines burnt to the right, and below each one burnt to the left.

The lower ones are told to lie further and further right, so that somewhere along the card one
lies straight under its upper one. That is done at the working speed and at half of it, because
the beam's lag grows with speed and the axis' slack does not.
"""

from dataclasses import dataclass, replace
from typing import Final

from etchproof.card import REGISTER, Area, Card, HairlinePair, Label
from etchproof.errors import UnfitCard
from etchproof.layout.border import (
    HEADING_MM,
    LABEL_MM,
    LINE_GAP_MM,
    OVER_HEADING_MM,
    Titles,
    centred_label,
    dots,
    label_at,
    lay_out_border,
)
from etchproof.layout.card_request import CardRequest, require_lines
from etchproof.layout.etching import span_rows
from etchproof.layout.reach import true_feeds_mm_per_min
from etchwire.catalogue.heads import Recipe

SPEED_SHARES: Final = (1.0, 0.5)
PAIRS: Final = 17
LEAST_PAIRS: Final = 7
STEP_MM: Final = 0.03
FIRST_OFFSET_MM: Final = -0.06  # rows land late, never early; a little below zero to show it
PITCH_MM: Final = 4.5
HALF_MM: Final = 2.0
LEAST_HAIRLINE_MM: Final = 0.2

_NUMBER_MM: Final = 3.8  # two digits under a hairline
_UNDER_MM: Final = 0.7
_BAND_MM: Final = HEADING_MM + 2 * HALF_MM + _UNDER_MM + LABEL_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Offsets:
    """Which offsets the pairs of a card try, in mm."""

    first_mm: float = FIRST_OFFSET_MM
    step_mm: float = STEP_MM
    pairs: int = PAIRS

    def __post_init__(self) -> None:
        """Refuse offsets that compare nothing or lead one pair into the next."""
        if self.pairs < LEAST_PAIRS:
            raise UnfitCard(f"a register card needs at least {LEAST_PAIRS} pairs, not {self.pairs}")
        if not self.step_mm >= 0.001:
            raise UnfitCard("the offset must grow by at least 0.001 mm from pair to pair")
        widest_mm = max(abs(self.first_mm), abs(self.of(self.pairs)))
        if not widest_mm <= PITCH_MM / 3:
            raise UnfitCard(
                f"an offset of {widest_mm:g} mm would bring a hairline near its neighbour: stay "
                f"within {PITCH_MM / 3:g} mm"
            )

    def of(self, number: int) -> float:
        """Return the offset of the pair `number`, counted from 1."""
        return round(self.first_mm + (number - 1) * self.step_mm, 3)


def lay_out_register_card(
    request: CardRequest, recipe: Recipe, offsets: Offsets | None = None
) -> Card:
    """Return the register card for a head that works at the speed of `recipe`.

    Without `offsets` there are as many pairs as the place has room for. The card is etched
    without the correction it is there to find. Raise UnfitCard or CardDoesNotFit.
    """
    if offsets is None:
        fitting = (
            pairs for pairs in range(PAIRS, LEAST_PAIRS, -1) if _fits(request, recipe, pairs)
        )
        offsets = Offsets(pairs=next(fitting, LEAST_PAIRS))
    card = _laid_out(request, recipe, offsets)
    if not request.place.holds(card.width_mm, card.height_mm):
        raise request.place.too_small(
            card.width_mm, card.height_mm, "a register card needs a place at least so large"
        )
    return _with_true_feeds(card)


def _fits(request: CardRequest, recipe: Recipe, pairs: int) -> bool:
    card = _laid_out(request, recipe, Offsets(pairs=pairs))
    return request.place.holds(card.width_mm, card.height_mm)


def _laid_out(request: CardRequest, recipe: Recipe, offsets: Offsets) -> Card:
    spacing = recipe.line_spacing_mm
    require_lines(HALF_MM, spacing)
    width_mm = max(LEAST_HAIRLINE_MM, spacing)
    content_mm = (offsets.pairs - 1) * PITCH_MM + _NUMBER_MM
    border = lay_out_border(
        (dots(len(SPEED_SHARES) * _BAND_MM, spacing), dots(content_mm, spacing)),
        number=request.number,
        titles=Titles(
            upper=(f"CARD {request.number}", "WHERE DO ROWS MEET?"),
            lower=("UPPER > RIGHT", "LOWER > LEFT"),
        ),
        marker_mm=6.4,
        spacing_mm=spacing,
    )
    hairlines: list[HairlinePair] = []
    labels: list[Label] = []
    for number, share in enumerate(SPEED_SHARES):
        top_mm = border.content.top * spacing + number * _BAND_MM + OVER_HEADING_MM
        feed = float(f"{recipe.feed_mm_per_min * share:.4g}")
        heading = (dots(top_mm, spacing), border.content.left)
        band = _Band(
            top=dots(top_mm + LABEL_MM + LINE_GAP_MM, spacing),
            left_mm=border.content.left * spacing + _NUMBER_MM / 2,
            half=dots(HALF_MM, spacing),
            width_mm=width_mm,
            feed_mm_per_min=feed,
            power_ratio=recipe.power_ratio,
        )
        pairs = [band.pair(count, offsets, spacing) for count in range(1, offsets.pairs + 1)]
        hairlines += pairs
        labels += [
            label_at(f"{feed:.0f} MM/MIN", heading, spacing),
            *(_number(pair, spacing) for pair in pairs),
        ]
    card = request.card(REGISTER, recipe, border, labels=labels)
    return replace(card, is_both_directions=True, hairlines=tuple(hairlines))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Band:
    """The pairs of one speed, side by side."""

    top: int
    left_mm: float
    half: int
    width_mm: float
    feed_mm_per_min: float
    power_ratio: float

    def pair(self, number: int, offsets: Offsets, spacing_mm: float) -> HairlinePair:
        left_mm = self.left_mm + (number - 1) * PITCH_MM - self.width_mm / 2
        sides = dots(left_mm - PITCH_MM / 2, spacing_mm), dots(left_mm + PITCH_MM / 2, spacing_mm)
        middle = self.top + self.half
        return HairlinePair(
            number=number,
            offset_mm=offsets.of(number),
            left_mm=left_mm,
            width_mm=self.width_mm,
            upper=Area(self.top, sides[0], middle, sides[1]),
            lower=Area(middle, sides[0], middle + self.half, sides[1]),
            feed_mm_per_min=self.feed_mm_per_min,
            power_ratio=self.power_ratio,
            true_feed_mm_per_min=self.feed_mm_per_min,
        )


def _number(pair: HairlinePair, spacing_mm: float) -> Label:
    middle = (pair.left_mm + pair.width_mm / 2) / spacing_mm
    top = pair.lower.bottom + dots(_UNDER_MM, spacing_mm)
    return centred_label(f"{pair.number}", top, middle, spacing_mm)


def _with_true_feeds(card: Card) -> Card:
    areas = [
        Area(pair.upper.top, pair.upper.left, pair.lower.bottom, pair.upper.right)
        for pair in card.hairlines
    ]
    feeds = true_feeds_mm_per_min(span_rows(card), areas, card.spacing_mm, card.head)
    return replace(
        card,
        hairlines=tuple(
            replace(pair, true_feed_mm_per_min=feed or pair.feed_mm_per_min)
            for pair, feed in zip(card.hairlines, feeds, strict=True)
        ),
    )
