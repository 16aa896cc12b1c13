"""A card's patches as they lie on it, speed and power on the edges, with their figures: pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from etchproof.card import (
    COLUMN_LINES,
    HALFTONE,
    PLACE_NAMES,
    REALLY_RUN,
    ROW_LINES,
    SOLID,
    Card,
    Patch,
)
from etchproof.errors import UnreadableCard
from etchproof.reading.values import Reading
from etchweb.text.formatting import as_sentence, grouped, millimetres, percent
from etchwire.catalogue.heads import dose_j_per_mm2

DARK_L: Final = 50.0  # below it, white letters can be read on a patch
_WORDS_OF_JUDGEMENT: Final = {"as dark as any": "dark"}
SIGNS: Final[Mapping[str, str]] = {
    "dark": "●",
    "good": "✓",
    "too light": "○",
    "uneven": "◐",
    "burnt too far": "▲",
    "rubs off": "✕",
    "glaze damaged": "!",
    "could not tell": "?",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchView:
    """One patch, as it is drawn and told; `grey` is an sRGB code, None where nobody has read it."""

    name: str
    figures: str
    lightness: int | None
    grey: int | None
    is_dark: bool
    judgement: str
    is_chosen: bool

    @property
    def sign(self) -> str:
        """What stands for the judgement where there is no room for words."""
        return SIGNS.get(self.judgement, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchGrid:
    """Patches by row and column; a place on which nothing was etched is None."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[PatchView | None, ...]], ...]

    @property
    def patches(self) -> list[PatchView]:
        """Every patch, row by row."""
        return [patch for _, row in self.rows for patch in row if patch is not None]

    @property
    def told(self) -> list[tuple[str, str]]:
        """The name and the figures of every patch."""
        return [(patch.name, patch.figures) for patch in self.patches]

    @property
    def signs(self) -> list[tuple[str, str]]:
        """The signs that stand on it, with their words."""
        said = {patch.judgement for patch in self.patches}
        return [(sign, words) for words, sign in SIGNS.items() if words in said]


def patch_grid(
    layout: Card, reading: str, marks: Mapping[str, str], told: Mapping[str, Any] | None
) -> PatchGrid:
    """Return the patches of a card from the slowest speed on; `reading` is JSON, empty for none.

    `told` is what the reading came to, if it is in hand.
    """
    seen = _stored(reading)
    judged = {cell["name"]: cell["judgement"] for cell in told["cells"]} if told else {}
    chosen = ((told or {}).get("choice") or {}).get("cell")
    cells = layout.cells()
    views = {
        name: _patch_view(layout, parts, seen, marks.get(name) or judged.get(name, ""), chosen)
        for name, parts in cells.items()
    }
    columns = sorted({_column(name) for name in cells})
    speeds = sorted({parts[0].feed_mm_per_min for parts in cells.values()})
    at = {(parts[0].feed_mm_per_min, _column(name)): name for name, parts in cells.items()}
    return PatchGrid(
        columns=tuple(_heading(layout, column) for column in columns),
        rows=tuple(
            (grouped(feed), tuple(views.get(at.get((feed, column), "")) for column in columns))
            for feed in speeds
        ),
    )


def _stored(reading: str) -> Reading | None:
    """Return a stored reading; None for none, and for what another release has stored."""
    try:
        return Reading.from_json(reading) if reading else None
    except UnreadableCard:
        return None


def _column(name: str) -> int:
    """Return the number in a patch's name; a strip's patches are one column without any."""
    return int(name[1:] or 0)


def _heading(layout: Card, column: int) -> str:
    """Return the power of a column; of the same power in several places, the place."""
    powers = {patch.power_ratio for patch in layout.patches}
    if len(powers) == 1 and column in PLACE_NAMES:
        return PLACE_NAMES[column]
    (power,) = {one.power_ratio for one in layout.patches if _column(one.cell) == column}
    return f"{percent(power)} %"


def _patch_view(
    layout: Card, parts: Sequence[Patch], seen: Reading | None, judgement: str, chosen: str | None
) -> PatchView:
    patch = parts[0]
    solid = seen.of(patch.cell, SOLID) if seen else None
    lightness = None if solid is None else solid.lightness
    judgement = _WORDS_OF_JUDGEMENT.get(judgement, judgement)
    return PatchView(
        name=patch.cell,
        figures=_figures(layout, parts, seen, judgement),
        lightness=None if lightness is None else round(lightness),
        grey=None if lightness is None else grey_of(lightness),
        is_dark=lightness is not None and lightness < DARK_L,
        judgement=judgement,
        is_chosen=patch.cell == chosen,
    )


def _figures(layout: Card, parts: Sequence[Patch], seen: Reading | None, judgement: str) -> str:
    """Return what a patch was etched with and what it showed, in sentences."""
    patch = parts[0]
    dose = dose_j_per_mm2(
        power_w=layout.head.rated_optical_w * patch.power_ratio,
        feed_mm_per_min=patch.feed_mm_per_min,
        line_spacing_mm=layout.spacing_mm,
    )
    slowest = min(part.true_feed_mm_per_min for part in parts)
    shown = {part.part: seen.of(part.cell, part.part) for part in parts} if seen else {}
    solid, half = shown.get(SOLID), shown.get(HALFTONE)
    said = [
        f"{grouped(patch.feed_mm_per_min)} mm/min at {percent(patch.power_ratio)} % power, lines "
        f"{millimetres(layout.spacing_mm)} mm apart: {dose:.2g} J/mm²",
        f"fine detail runs at {grouped(slowest)} mm/min"
        if slowest < REALLY_RUN * patch.feed_mm_per_min
        else "",
        f"lightness {solid.lightness:.0f}, scatter {solid.unevenness:.1f}" if solid else "",
        f"its half burnt part {half.lightness:.0f}" if half else "",
        judgement,
    ]
    return " ".join(as_sentence(one) for one in said if one)


def measured_patches(layout: Card, reading: str) -> list[tuple[str, str]]:
    """Return the name of every patch of a card that was read, and what its parts showed.

    `reading` is JSON, empty for none.
    """
    seen = _stored(reading)
    if seen is None:
        return []
    shown = {
        name: [
            f"{_etched_words(layout, part)}: lightness {read.lightness:.0f}"
            for part in parts
            if (read := seen.of(part.cell, part.part)) is not None
        ]
        for name, parts in layout.cells().items()
    }
    return [(name, as_sentence("; ".join(words))) for name, words in shown.items() if words]


def _etched_words(layout: Card, patch: Patch) -> str:
    what = f"{patch.part}, " if patch.part in (ROW_LINES, COLUMN_LINES) else ""
    apart_mm = patch.rows_apart * layout.spacing_mm
    return f"{what}{percent(patch.coverage)} % burnt, lines {millimetres(apart_mm)} mm apart"


def grey_of(lightness: float) -> int:
    """Return the sRGB code, 0 to 255, of a grey of this lightness beside white (CIE 1976, sRGB)."""
    bright = ((lightness + 16) / 116) ** 3 if lightness > 8 else lightness / 903.3
    code = 12.92 * bright if bright <= 0.0031308 else 1.055 * bright ** (1 / 2.4) - 0.055
    return round(255 * min(1.0, max(0.0, code)))
