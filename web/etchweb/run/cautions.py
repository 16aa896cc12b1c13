"""What a person reads and confirms before every start."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to look at, and what happens to those who don't."""

    look_at: str
    because: str


CAUTIONS: Final = (
    Caution(
        "Eyes, skin, fire.",
        "A laser above 0.5 W is class 4: the beam and its reflections blind before you can blink, "
        "burn skin and set things alight.",
    ),
    Caution(
        "Enclosure shut, eyewear on.",
        "The eyewear must be made for this laser's wavelength, and everyone in the room wears it.",
    ),
    Caution(
        "Paint dry, solvent gone.",
        "Fumes catch fire. Cloths, tins and bottles are out of reach, and the extraction is on.",
    ),
    Caution(
        "Afterwards, let the tile cool.",
        "Solvent on a hot tile burns. Cool first, then wipe outside the box.",
    ),
    Caution(
        "Somebody stays near.",
        "Never leave it where nobody can reach it in time.",
    ),
    Caution(
        "This page is not a safety device.",
        "Software fails. The lid contact is wired to cut the laser by itself.",
    ),
    Caution(
        "Local rules come first.",
        "So does the word of a person qualified in laser safety.",
    ),
)
