"""Fonts of this computer, by the names that they give themselves."""

import os
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from PIL import ImageFont, features

from etchphoto.errors import FontMissing

# Where Debian's packages put fonts, and where people put theirs.
FONT_FOLDERS: Final = (
    Path("/usr/share/fonts"),
    Path("/usr/local/share/fonts"),
    Path(os.path.expanduser("~/.local/share/fonts")),  # noqa: PTH111 - there may be no home
)
FREE_FAMILY: Final = "sudo apt install fonts-dejavu-core"
_ENDINGS: Final = (".ttf", ".otf", ".ttc", ".otc")
_UPRIGHT: Final = ("", "Book", "Regular", "Roman", "Normal")  # styles that are left out of a name
_MOST_IN_A_FILE: Final = 64
_UNDEFINED: Final = "\U0010fffe"  # a noncharacter: every font answers with its sign for no glyph
_GLYPH_PX: Final = 64
_RIGHT_TO_LEFT: Final = ("R", "AL")


@dataclass(frozen=True, slots=True, kw_only=True)
class Font:
    """One face of a font file; shaped where the system's library for that is there.

    Without it kerning is the font's old table, and nothing is written from right to left.
    """

    name: str
    path: Path
    index: int = 0
    is_shaped: bool = bool(features.check("raqm"))

    def at(self, em_px: float) -> ImageFont.FreeTypeFont:
        """Return the face with an em of so many pixels.

        Raise FontMissing where the file has gone meanwhile.
        """
        layout = ImageFont.Layout.RAQM if self.is_shaped else ImageFont.Layout.BASIC
        return self._face(em_px, layout)

    def _face(self, em_px: float, layout: ImageFont.Layout) -> ImageFont.FreeTypeFont:
        try:
            return ImageFont.truetype(self.path, em_px, self.index, layout_engine=layout)
        except OSError as error:
            raise FontMissing(f"the font {self.name} cannot be read any more: {error}") from error

    def require_glyphs(self, text: str) -> None:
        """Raise FontMissing, with each character by its number, where this font lacks some."""
        face = self._face(_GLYPH_PX, ImageFont.Layout.BASIC)  # shaping would hide what is lacking
        undefined = bytes(face.getmask(_UNDEFINED))
        lacking = [
            letter
            for letter in dict.fromkeys(text)
            if _has_glyph(letter) and bytes(face.getmask(letter)) == undefined
        ]
        if lacking:
            raise FontMissing(
                f"the font {self.name} has no glyph for {_listed(lacking)}: choose another font "
                "or write it otherwise"
            )
        if self.is_shaped:
            return
        turned = [one for one in text if unicodedata.bidirectional(one) in _RIGHT_TO_LEFT]
        if turned:
            raise FontMissing(
                f"{_listed(turned[:1])} is written from right to left, for which this computer "
                "lacks a library: sudo apt install libfribidi0"
            )


def found_fonts(folders: Sequence[Path] = FONT_FOLDERS) -> Mapping[str, Font]:
    """Return every font in `folders` and below, by name; the first of a name counts."""
    fonts: dict[str, Font] = {}
    for folder in folders:
        for path in sorted(folder.rglob("*")):
            if path.suffix.lower() in _ENDINGS:
                for font in _faces(path):
                    fonts.setdefault(font.name, font)
    return dict(sorted(fonts.items()))


def find_font(name: str, folders: Sequence[Path] = FONT_FOLDERS) -> Font:
    """Return the font of this name; raise FontMissing, in a sentence, where there is none."""
    fonts = found_fonts(folders)
    if name in fonts:
        return fonts[name]
    if not fonts:
        raise FontMissing(f"there is no font on this computer: {FREE_FAMILY}")
    family = name.partition(" ")[0].casefold()
    near = [one for one in fonts if one.casefold().startswith(family)]
    shown = ", ".join((near or list(fonts))[:6])
    raise FontMissing(
        f"the font {name!r} is not on this computer: install it or choose another, {shown} for "
        "example"
    )


def _faces(path: Path) -> Iterator[Font]:
    for index in range(_MOST_IN_A_FILE):
        try:
            family, style = ImageFont.truetype(path, _GLYPH_PX, index).getname()
        except (OSError, ValueError):  # no font, or no further one in this file
            return
        if family:
            shown = "" if (style or "") in _UPRIGHT else f" {style}"
            yield Font(name=f"{family}{shown}", path=path, index=index)
        if path.suffix.lower() not in (".ttc", ".otc"):
            return


def _has_glyph(letter: str) -> bool:
    """Return whether a character shows: blanks, breaks and joiners do not."""
    return not letter.isspace() and unicodedata.category(letter) != "Cf"


def _listed(letters: Sequence[str]) -> str:
    return ", ".join(_named(one) for one in letters)


def _named(letter: str) -> str:
    number = f"U+{ord(letter):04X}"
    return f"“{letter}” ({number})" if letter.isprintable() else number
