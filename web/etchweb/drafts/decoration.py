"""What a person adds to a picture: lettering, a shape, a border."""

from dataclasses import dataclass
from typing import Final

FONTS: Final = ("DejaVu Sans", "DejaVu Sans Bold", "DejaVu Serif", "DejaVu Serif Bold")


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
