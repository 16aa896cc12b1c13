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
SMOOTH: Final = "jarvis"
# Offered only where a tone card told the dot of this laser on this tile and paint.
TEST_CARD: Final = "test-card"
EVERY_HALFTONE: Final = (*HALFTONE_CHOICES, TEST_CARD)


def test_card_choice(gain_percent: float) -> HalftoneChoice:
    """Return how dots from the test card are offered, by what the card's dot foresees of them."""
    return HalftoneChoice(
        "Photo, from your test card",
        f"Worked out for the dot this laser leaves here: about {gain_percent:.0f} % less grain and "
        "wrong grey by the card. Not yet proven on a tile; takes longer to work out.",
    )


def tried_name(kind: str) -> str:
    """Return the file name of a rendering of that kind."""
    return f"tried-{kind}.png"
