"""What the form of *Lettering and shape* says, read into a draft."""

from dataclasses import replace
from typing import Final

from etchweb.drafts.decoration import FONTS, Decoration
from etchweb.drafts.draft import Draft
from etchweb.server.forms import Form, FormUnfit, number

MOST_LETTERS: Final = 200
MOST_LINES: Final = 6
LARGEST_CAPITAL_MM: Final = 300.0
SOFTEST_MM: Final = 100.0
WIDEST_LINE_MM: Final = 20.0

# What is said on the form: in which ink, and whether on a field of the other colour.
INKS: Final = {
    "white on black": ("white", True),
    "black on white": ("burnt", True),
    "white on the picture": ("white", False),
    "black on the picture": ("burnt", False),
}
SIGN_INKS: Final = ("black on white", "white on black")  # there is no picture to write on
STANDS: Final = ("top", "middle", "bottom")
SHAPES: Final = ("rectangle", "rounded", "circle", "oval")


def with_decoration(draft: Draft, form: Form) -> Draft:
    """Return `draft` with what the form adds to it; raise FormUnfit for what cannot be meant."""
    text = form.get("text", "").replace("\r\n", "\n").strip()
    if len(text) > MOST_LETTERS or len(text.splitlines()) > MOST_LINES:
        raise FormUnfit(f"The text can have {MOST_LETTERS} letters in {MOST_LINES} lines.")
    if draft.is_sign and not text:
        raise FormUnfit("A sign needs a text.")
    ink, has_field = INKS[_one_of(form, "ink", tuple(INKS), "Choose black or white letters.")]
    return replace(
        draft,
        has_number=_has_number(draft, form),
        decoration=Decoration(
            text=text,
            font=_one_of(form, "font", FONTS, "Choose a font."),
            size_mm=_size(form, "size_mm", "The height of capitals", LARGEST_CAPITAL_MM),
            stand=_one_of(form, "stand", STANDS, "Choose where the text stands."),
            ink=ink,
            has_field=has_field,
            shape=_one_of(form, "shape", SHAPES, "Choose a shape."),
            soft_mm=0.0 if draft.is_sign else _size(form, "soft_mm", "The soft edge", SOFTEST_MM),
            line_mm=_size(form, "line_mm", "The border", WIDEST_LINE_MM),
        ),
    )


def _has_number(draft: Draft, form: Form) -> bool:
    """Whether the order's number is wanted; a mural's tiles have numbers of their own."""
    return draft.order is not None and not draft.wall and form.get("has_number") == "yes"


def _one_of(form: Form, name: str, choices: tuple[str, ...], asked: str) -> str:
    chosen = form.get(name, "")
    if chosen not in choices:
        raise FormUnfit(asked)
    return chosen


def _size(form: Form, name: str, label: str, most: float) -> float:
    """Return a size in mm; nothing typed is nought."""
    if not form.get(name, "").strip():
        return 0.0
    return number(form, name, f"{label}, in millimetres,", least=0, most=most)
