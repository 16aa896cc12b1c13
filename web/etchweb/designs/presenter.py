"""What *Lettering and shape* shows of a draft: pure."""

from collections.abc import Sequence
from typing import Final

from etchweb.designs.forms import INKS, SHAPES, SIGN_INKS, STANDS
from etchweb.drafts.draft import Draft
from etchweb.drafts.made import DrawnTile
from etchweb.text.formatting import as_sentence, millimetres
from etchweb.text.view import View

_CSS_PX_PER_MM: Final = 96 / 25.4  # CSS Values and Units: an inch is 96 pixels
_INK_WORDS: Final = {
    "white on black": "White on a black field",
    "black on white": "Black on a white field",
    "white on the picture": "White on the picture",
    "black on the picture": "Black on the picture",
}
_SHAPE_WORDS: Final = {
    "rectangle": "Rectangle", "rounded": "Rounded", "circle": "Circle", "oval": "Oval",
}  # fmt: skip
_STAND_WORDS: Final = {"top": "At the top", "middle": "In the middle", "bottom": "At the bottom"}


def design_view(draft: Draft, drawn: DrawnTile | None, fonts: Sequence[str]) -> View:
    """Return the form as it was filled in, with the `fonts` to choose from, and the tile."""
    added, (width_mm, height_mm) = draft.decoration, draft.picture_mm or (0.0, 0.0)
    inks = SIGN_INKS if draft.is_sign else tuple(INKS)
    ink = next(name for name, meant in INKS.items() if meant == (added.ink, added.has_field))
    return {
        "added": added,
        "fonts": fonts,
        "inks": [(name, _INK_WORDS[name], name == ink) for name in inks],
        "shapes": [(name, _SHAPE_WORDS[name], name == added.shape) for name in SHAPES],
        "stands": [(name, _STAND_WORDS[name], name == added.stand) for name in STANDS],
        "size": f"{millimetres(width_mm)} × {millimetres(height_mm)} mm",
        "drawn": None if drawn is None else _drawn(drawn),
    }


def _drawn(drawn: DrawnTile) -> View:
    """Return the drawing as large as the tile, and what is said of it."""
    width_px, height_px = (round(side / drawn.px_per_mm * _CSS_PX_PER_MM) for side in drawn.size_px)
    notes = [as_sentence(note) for note in drawn.notes]
    return {"width_px": width_px, "height_px": height_px, "notes": notes}
