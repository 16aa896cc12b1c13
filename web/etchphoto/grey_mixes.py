"""Ways from colour to grey: which of red, green and blue counts how much, in linear light.

As black-and-white photographers use colour filters (common practice, no source): red lightens
skin and darkens a sky, blue does the contrary. A grey stays as it is in every mix.
"""

from typing import Final

EYE: Final = "eye"
GREY_MIXES: Final = {
    EYE: (0.2126, 0.7152, 0.0722),  # Rec. ITU-R BT.709-6
    "red": (0.75, 0.25, 0.0),
    "blue": (0.0, 0.45, 0.55),
}
