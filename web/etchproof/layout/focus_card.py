"""Focus cards: thin lines along and across the rows, on a tile that lies on a wedge.

Each station along the card stands at a height of its own. There lines are burnt at several
speeds: how fast a line widens with dose tells how wide the beam is (see `focus_reading`), whatever
the surface's threshold. One wedge shows all heights in one job; a lens moved from step to step
would ask for a hand in the enclosure between jobs, and for a step that is known as well.
"""

from dataclasses import dataclass, replace
from typing import Final

from etchproof.card import (
    BED_PLACES,
    COLUMN_LINES,
    FOCUS,
    ROW_LINES,
    Area,
    Card,
    Label,
    Patch,
    Wedge,
)
from etchproof.errors import UnfitCard
from etchproof.layout.border import (
    HEADING_MM,
    LABEL_MM,
    LINE_GAP_MM,
    Titles,
    centred_label,
    dots,
    label_at,
    lay_out_border,
    title,
)
from etchproof.layout.card_request import CardRequest
from etchproof.layout.grid import cell_name
from etchproof.layout.power_card import with_true_feeds
from etchproof.layout.ranges import (
    FASTEST_KNOWN_MM_PER_MIN,
    good_feed_mm_per_min,
    power_law,
)
from etchproof.layout.reach import photo_reach_mm_per_min
from etchwire.catalogue.heads import Recipe

WEAKER: Final = 0.5  # of the dose, for the card after one that was burnt too far (our choice)
SPEED_SHARES: Final = (1.6, 1.0, 0.6, 0.35)  # of the recipe's: lines need more dose than areas
SOLID_SHARE: Final = 0.6  # slow enough to be as black as the lines get
GUESSED_POWER: Final = 1.0  # where there is no recipe yet: the least time
PITCH_MM: Final = 0.4
PITCH_SPOTS: Final = 4  # lines so far apart stay lines well out of focus
PITCHES: Final = 8  # so that the middle half, which is read, holds four whole ones
COLUMN_HEIGHT: Final = 0.75  # of a patch's width: lines across the rows take the time of them all
STATION_GAP_MM: Final = 2.0
LABELLED: Final = 2  # one station in so many: heights are wider than a station
MARKER_MM: Final = 6.4
STATIONS: Final = (11, 9, 7)  # the most that its place has room for
LEAST_RISE_MM: Final = 1.0  # over the card: less, and no phone sees the lines change
MOST_SLOPE: Final = 0.3  # a patch would stand at heights 1 mm apart


@dataclass(frozen=True, slots=True, kw_only=True)
class WedgeRequest:
    """What a person says of the wedge; `start_mm` left out, the card is centred on the tile."""

    left_mm: float
    right_mm: float
    length_mm: float
    start_mm: float | None = None
    bed_place: str = ""

    def __post_init__(self) -> None:
        """Refuse what is no wedge."""
        if not (self.length_mm > 0 and min(self.left_mm, self.right_mm) >= 0):
            raise UnfitCard(
                "the tile's length is above zero, and its ends stand 0 mm or more above where a "
                "tile lies flat"
            )
        if self.left_mm == self.right_mm:
            raise UnfitCard(
                f"both ends of the tile stand at {self.left_mm:g} mm: a focus card needs a wedge, "
                "so pack one end higher, for instance by 12 mm"
            )
        if self.bed_place and self.bed_place not in BED_PLACES:
            raise UnfitCard(
                f"there is no place {self.bed_place!r} of the bed: say one of "
                f"{', '.join(BED_PLACES)}"
            )

    def under(self, card_width_mm: float) -> Wedge:
        """Return the wedge under a card so wide; raise UnfitCard where it shows nothing."""
        start_mm = self.start_mm
        if start_mm is None:
            start_mm = (self.length_mm - card_width_mm) / 2
        if start_mm < 0 or start_mm + card_width_mm > self.length_mm + 1e-6:
            raise UnfitCard(
                f"the card is {card_width_mm:.0f} mm wide and does not lie on a tile of "
                f"{self.length_mm:g} mm: take a longer tile, or give the card less width"
            )
        slope = abs(self.right_mm - self.left_mm) / self.length_mm
        if slope > MOST_SLOPE:
            raise UnfitCard(
                f"the tile rises {slope * 10:.1f} mm every 10 mm, which tilts each patch too far: "
                f"pack up its high end by no more than {MOST_SLOPE * self.length_mm:.0f} mm"
            )
        if slope * card_width_mm < LEAST_RISE_MM:
            raise UnfitCard(
                f"over the card the tile rises only {slope * card_width_mm:.1f} mm: pack up its "
                "high end further, by about 12 mm"
            )
        return Wedge(
            left_mm=self.left_mm,
            right_mm=self.right_mm,
            length_mm=self.length_mm,
            start_mm=round(start_mm, 3),
            bed_place=self.bed_place,
        )


def lay_out_focus_card(
    request: CardRequest, recipe: Recipe | None, wedge: WedgeRequest, *, is_quick: bool = False
) -> Card:
    """Return the focus card of a laser, as long as its place allows.

    Without a recipe its settings are guessed. One that `is_quick` has the fewest heights. Raise
    UnfitCard or CardDoesNotFit, with a sentence that says what would do.
    """
    guess = () if recipe else ("There is no recipe yet, so its speeds are a guess.",)
    recipe = _within_reach(recipe or _guessed(request), request)
    request = replace(request, line_spacing_mm=recipe.line_spacing_mm)
    for stations in STATIONS[-1:] if is_quick else STATIONS:
        card = _laid_out(request, recipe, wedge, stations)
        if request.place.holds(card.width_mm, card.height_mm):
            return with_true_feeds(replace(card, notes=(*guess, *card.notes)))
    raise request.place.too_small(
        card.width_mm, card.height_mm, "a focus card needs a place at least so large"
    )


def _guessed(request: CardRequest) -> Recipe:
    """Return what the law says, with no line faster than anybody's settings are known."""
    power_w = GUESSED_POWER * request.head.rated_optical_w
    guess = Recipe(
        surface=request.surface,
        feed_mm_per_min=float(f"{good_feed_mm_per_min(power_w):.3g}"),
        power_ratio=GUESSED_POWER,
        line_spacing_mm=request.line_spacing_mm,
        air_assist=request.air_assist,
    )
    return _no_faster(guess, FASTEST_KNOWN_MM_PER_MIN)


def recipe_at_dose(card: Card, share: float) -> Recipe:
    """Return what to burn a focus card with that is to get `share` times the dose of `card`."""
    recipe = card.recipe
    other = replace(recipe, feed_mm_per_min=float(f"{recipe.feed_mm_per_min / share:.3g}"))
    return _within_reach(other, card)


def _within_reach(recipe: Recipe, request: CardRequest | Card) -> Recipe:
    """Return `recipe` no faster than fine detail is really run, with less power to match."""
    reach = photo_reach_mm_per_min(request.head, recipe.line_spacing_mm, request.halftone)
    return _no_faster(recipe, reach)


def _no_faster(recipe: Recipe, top_mm_per_min: float) -> Recipe:
    """Return `recipe` with its fastest lines no faster than that, and power to match."""
    share = min(1.0, top_mm_per_min / max(SPEED_SHARES) / recipe.feed_mm_per_min)
    if share == 1:
        return recipe
    return replace(
        recipe,
        feed_mm_per_min=float(f"{recipe.feed_mm_per_min * share:.3g}"),
        power_ratio=round(recipe.power_ratio * share ** (1 / power_law()[1]), 3),
    )


def _laid_out(request: CardRequest, recipe: Recipe, asked: WedgeRequest, stations: int) -> Card:
    spacing = recipe.line_spacing_mm
    pitch = _pitch_dots(request, spacing)
    side, gap = PITCHES * pitch, dots(STATION_GAP_MM, spacing)
    low = round(COLUMN_HEIGHT * side)
    heading = dots(HEADING_MM, spacing)
    label = dots(LABEL_MM, spacing)
    bands = len(SPEED_SHARES)
    border = lay_out_border(
        (
            label + (bands + 1) * heading + bands * (side + low) + low,
            stations * side + (stations - 1) * gap,
        ),
        number=request.number,
        titles=Titles(
            upper=(f"CARD {request.number}", "FOCUS", title(request.surface)),
            lower=("HEIGHT MM ACROSS", "MM/MIN DOWN"),
        ),
        marker_mm=MARKER_MM,
        spacing_mm=spacing,
    )
    wedge = asked.under(border.columns * spacing)
    content = border.content
    lefts = [content.left + station * (side + gap) for station in range(stations)]
    patches: list[Patch] = []
    labels: list[Label] = [
        centred_label(
            _height(wedge, left + side / 2, spacing), content.top, left + side / 2, spacing
        )
        for left in lefts[::LABELLED]
    ]
    top = content.top + label
    for band, share in enumerate(SPEED_SHARES):
        feed = float(f"{recipe.feed_mm_per_min * share:.3g}")
        top += heading
        labels.append(_heading(f"{feed:.0f}", top, content.left, spacing))
        for station, left in enumerate(lefts):
            patches += [
                Patch.of(
                    recipe,
                    cell_name(band, station),
                    area,
                    part=part,
                    coverage=1 / pitch,
                    feed_mm_per_min=feed,
                )
                for part, area in (
                    (ROW_LINES, Area.at(top, left, side, side)),
                    (COLUMN_LINES, Area.at(top + side, left, low, side)),
                )
            ]
        top += side + low
    top += heading
    feed = float(f"{recipe.feed_mm_per_min * SOLID_SHARE:.3g}")
    labels.append(_heading(f"{feed:.0f}", top, content.left, spacing))
    for number, station in enumerate((0, stations // 2, stations - 1)):
        area = Area.at(top, lefts[station], low, side)
        patches.append(Patch.of(recipe, cell_name(bands, number), area, feed_mm_per_min=feed))
    card = request.card(FOCUS, recipe, border, patches=patches, labels=labels)
    return replace(card, notes=(_how_to_pack(wedge),), wedge=wedge)


def _how_to_pack(wedge: Wedge) -> str:
    middle_mm = (wedge.left_mm + wedge.right_mm) / 2
    return (
        f"Pack the tile's left end {wedge.left_mm:g} mm up and its right end {wedge.right_mm:g} "
        f"mm, and begin the card {wedge.start_mm:.0f} mm from its left end. Put the laser about "
        f"{middle_mm:.0f} mm higher than usual, so that the focus lies within the wedge. Move the "
        "head over the high end by hand first: nothing may touch."
    )


def _pitch_dots(request: CardRequest, spacing_mm: float) -> int:
    spot_mm = max(request.head.spot_x_mm, request.head.spot_y_mm)
    return dots(max(PITCH_MM, PITCH_SPOTS * spot_mm), spacing_mm)


def _height(wedge: Wedge, column: float, spacing_mm: float) -> str:
    return f"{wedge.height_mm(column * spacing_mm):.1f}"


def _heading(text: str, top: int, left: int, spacing_mm: float) -> Label:
    return label_at(text, (top - dots(LABEL_MM + LINE_GAP_MM, spacing_mm), left), spacing_mm)
