"""Fonts of this computer, by the names that they give themselves."""

import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Final

from PIL import ImageFont, features

from etchphoto.errors import FontMissing
from etchphoto.lettering.font_folders import BUNDLED, FONT_FOLDERS, FREE_FAMILY

USUAL: Final = "DejaVu Sans"  # where no font is named
_ENDINGS: Final = (".ttf", ".otf", ".ttc", ".otc")
_UPRIGHT: Final = ("", "Book", "Regular", "Roman", "Normal")  # styles that are left out of a name
_MOST_IN_A_FILE: Final = 64
_UNDEFINED: Final = "\U0010fffe"  # a noncharacter: every font answers with its sign for no glyph
_GLYPH_PX: Final = 64
_RIGHT_TO_LEFT: Final = ("R", "AL")


@dataclass(frozen=True, slots=True, kw_only=True)
class Font:
    """One face of a font file; shaped where the system's library for that is there.

    Without a path it is the font that comes with Pillow.
    Without it kerning is the font's old table, and nothing is written from right to left.
    """

    name: str
    path: Path | None = None
    index: int = 0
    is_shaped: bool = bool(features.check("raqm"))

    @property
    def file(self) -> Path | BytesIO:
        """Its font file."""
        return BytesIO(_bundled()) if self.path is None else self.path

    def at(self, em_px: float) -> ImageFont.FreeTypeFont:
        """Return the face with an em of so many pixels.

        Raise FontMissing where the file has gone meanwhile.
        """
        layout = ImageFont.Layout.RAQM if self.is_shaped else ImageFont.Layout.BASIC
        return self._face(em_px, layout)

    def _face(self, em_px: float, layout: ImageFont.Layout) -> ImageFont.FreeTypeFont:
        try:
            return ImageFont.truetype(self.file, em_px, self.index, layout_engine=layout)
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
            install = f" ({FREE_FAMILY})" if self.path is None else ""
            raise FontMissing(
                f"the font {self.name} has no glyph for {_listed(lacking)}: choose another font"
                f"{install} or write it otherwise"
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
    """Return every font in `folders` and below, by name; the first of a name counts.

    The one that comes with Pillow is always among them.
    """
    fonts: dict[str, Font] = {}
    for folder in folders:
        for path in sorted(folder.rglob("*")):
            if path.suffix.lower() in _ENDINGS:
                for font in _faces(path):
                    fonts.setdefault(font.name, font)
    fonts.setdefault(BUNDLED, Font(name=BUNDLED))
    return dict(sorted(fonts.items()))


def find_font(name: str, folders: Sequence[Path] = FONT_FOLDERS) -> Font:
    """Return the font of this name; raise FontMissing, in a sentence, where there is none.

    Without a name it is the usual one, or the one that comes with Pillow where that is missing.
    """
    fonts = found_fonts(folders)
    if not name:
        return fonts.get(USUAL, fonts[BUNDLED])
    if name in fonts:
        return fonts[name]
    family = name.partition(" ")[0].casefold()
    near = [one for one in fonts if one.casefold().startswith(family)]
    install = f" ({FREE_FAMILY})" if family == USUAL.partition(" ")[0].casefold() else ""
    shown = ", ".join((near or list(fonts))[:6])
    raise FontMissing(
        f"the font {name!r} is not on this computer: install it{install} or choose another, "
        f"{shown} for example"
    )


@cache
def _bundled() -> bytes:
    """Return the font file that comes with Pillow."""
    file = ImageFont.load_default(_GLYPH_PX)
    if not isinstance(file, ImageFont.FreeTypeFont) or not isinstance(file.path, BytesIO):
        raise FontMissing(f"this Pillow comes without a font: {FREE_FAMILY}")
    return file.path.getvalue()


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
