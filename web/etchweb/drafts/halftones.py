"""The ways a picture can be made of dots, in a person's words."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class HalftoneChoice:
    """One way: what it is good for."""

    name: str
    good_for: str


# By etchphoto's names of them, which nobody needs to know.
HALFTONE_CHOICES: Final = {
    "jarvis": HalftoneChoice("Photo, soft", "Faces and skies: greys run evenly into one another."),
    "floyd-steinberg": HalftoneChoice("Photo, crisp", "Hair, fur, foliage: the finest grain."),
    "threshold": HalftoneChoice(
        "Lettering or drawing", "Black or white, nothing between; clean edges."
    ),
}


def tried_name(kind: str) -> str:
    """Return the file name of a rendering of that kind."""
    return f"tried-{kind}.png"
