"""What a person adds to a picture: lettering, a shape, a border."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etchphoto.lettering.font_folders import BUNDLED, FONT_FOLDERS

_FONT_FILES: Final = {
    "DejaVu Sans": "DejaVuSans.ttf",
    "DejaVu Sans Bold": "DejaVuSans-Bold.ttf",
    "DejaVu Serif": "DejaVuSerif.ttf",
    "DejaVu Serif Bold": "DejaVuSerif-Bold.ttf",
}
FONTS: Final = (*_FONT_FILES, BUNDLED)


def fonts_here(folders: Sequence[Path] = FONT_FOLDERS) -> tuple[str, ...]:
    """Return those of FONTS that this computer has; the last one is always there."""
    names = {path.name for folder in folders for path in folder.rglob("*.ttf")}
    return (*(font for font, file in _FONT_FILES.items() if file in names), BUNDLED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoration:
    """Lettering and shape as the form asks for them; the words are etchphoto's own.

    `size_mm` is the height of a capital letter, 0 as large as fits; with `has_field` the letters
    stand on a field of the other colour. Without a shape the picture stays a rectangle; `soft_mm`
    is how far it fades to white inside its edge, `line_mm` how wide a border along it is.
    """

    text: str = ""
    font: str = FONTS[1]
    size_mm: float = 0.0
    stand: str = "bottom"
    ink: str = "white"
    has_field: bool = True
    shape: str = "rectangle"
    soft_mm: float = 0.0
    line_mm: float = 0.0

    @property
    def is_plain(self) -> bool:
        """Whether it adds nothing."""
        is_uncut = self.shape == "rectangle" and not self.soft_mm
        return not self.text and is_uncut and not self.line_mm


NOTHING_ADDED: Final = Decoration()
AS_SIGN: Final = Decoration(stand="middle", ink="burnt")  # black on white, until it is chosen
