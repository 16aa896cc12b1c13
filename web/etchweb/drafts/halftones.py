"""The ways a picture can be made of dots, in a person's words."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from etchweb.text.formatting import short_duration


@dataclass(frozen=True, slots=True)
class HalftoneChoice:
    """One way: what it is good for, and how long it etches beside the others."""

    name: str
    good_for: str
    lasts: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What the child found when it tried the picture in each way.

    `black` is what fired black reflects beside the bare tile, as measured or guessed; `seconds`
    what each way takes to etch, in the order in which their renderings of `part_dots` (columns,
    rows) lie side by side; `is_coloured` whether it matters how colours are mixed to grey. Of
    the next two there is one: what dots from the test card are
    foreseen to win, or, without a tone card, what one would win. `search_s` is how long this box
    would search for the dots of a mural, as tried on a few.
    """

    of: str
    black: float
    seconds: Mapping[str, float]
    part_dots: tuple[int, int]
    is_coloured: bool = False
    test_card_gain_percent: float | None = None
    without_card: str = ""
    suited: str = ""
    search_s: float = 0.0


# By etchphoto's names of them, which nobody needs to know.
HALFTONE_CHOICES: Final = {
    "jarvis": HalftoneChoice(
        "Photo, smooth", "Faces and skies: greys run evenly into one another."
    ),
    "floyd-steinberg": HalftoneChoice("Photo, crisp", "Hair, fur, foliage: the finest grain."),
    "threshold": HalftoneChoice(
        "Lettering or drawing", "Black or white, nothing between; clean edges."
    ),
}
SMOOTH: Final = "jarvis"
LETTERING: Final = "threshold"
# Offered only where a tone card told the dot of this laser on this tile and paint.
TEST_CARD: Final = "test-card"
EVERY_HALFTONE: Final = (*HALFTONE_CHOICES, TEST_CARD)
_FEWEST_S: Final = 60.0  # a smaller difference is none to choose by


def offered(tried: Tried) -> dict[str, HalftoneChoice]:
    """Return the ways there are for a picture that was tried, each with how long it takes."""
    ways = dict(HALFTONE_CHOICES)
    if tried.test_card_gain_percent is not None:
        ways[TEST_CARD] = _test_card_choice(tried.test_card_gain_percent, tried.search_s)
    return {
        kind: HalftoneChoice(way.name, way.good_for, _lasts(kind, tried.seconds))
        for kind, way in ways.items()
    }


def _test_card_choice(gain_percent: float, search_s: float) -> HalftoneChoice:
    """Return what the search is good for, and how long it takes where that is long."""
    longer = "takes longer to work out."
    if search_s:
        longer = (
            f"this box works on it for about {short_duration(search_s)}, and other pictures wait "
            "meanwhile."
        )
    return HalftoneChoice(
        "Photo, from your test card",
        f"Worked out for the dot this laser leaves here: about {gain_percent:.0f} % less grain and "
        f"wrong grey by the card; {longer}",
    )


def _lasts(kind: str, seconds: Mapping[str, float]) -> str:
    its_s = seconds.get(kind, 0.0)
    if not its_s:
        return ""
    smooth_s = seconds.get(SMOOTH, its_s)
    told = f"About {short_duration(its_s)} to etch"
    if kind != TEST_CARD or abs(smooth_s - its_s) < _FEWEST_S:
        return f"{told}."
    less = "less" if its_s < smooth_s else "more"
    return f"{told}: the same picture in {short_duration(abs(smooth_s - its_s))} {less}."
