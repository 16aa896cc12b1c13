"""How a photo lies in its file, and how it is turned upright (EXIF tag 274)."""

from dataclasses import dataclass
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from etchphoto.framing import Crop


@dataclass(frozen=True, slots=True)
class Orientation:
    """What turns the stored picture upright: rows for columns first, then the two flips."""

    is_swapped: bool = False
    is_flipped_x: bool = False
    is_flipped_y: bool = False

    @classmethod
    def from_exif(cls, value: object) -> Self:
        """Return the meaning of the tag's value; anything unknown counts as upright."""
        flags = _FLAGS_BY_TAG.get(value, ()) if isinstance(value, int) else ()
        return cls(*flags)

    def swapped(self, pair: tuple[int, int]) -> tuple[int, int]:
        """Return two sizes, across and down, as they are on the other side."""
        return (pair[1], pair[0]) if self.is_swapped else pair

    def stored(self, crop: Crop) -> Crop:
        """Return where in the file the upright photo's part `crop` lies."""
        left, top, right, bottom = crop.left, crop.top, crop.right, crop.bottom
        if self.is_flipped_x:
            left, right = 1 - right, 1 - left
        if self.is_flipped_y:
            top, bottom = 1 - bottom, 1 - top
        return Crop(top, left, bottom, right) if self.is_swapped else Crop(left, top, right, bottom)

    def upright(self, stored: NDArray[Any]) -> NDArray[Any]:
        """Return the stored picture (rows, columns, ...) turned upright, as a view."""
        turned = np.swapaxes(stored, 0, 1) if self.is_swapped else stored
        return turned[:: -1 if self.is_flipped_y else 1, :: -1 if self.is_flipped_x else 1]


UPRIGHT: Final = Orientation()

_FLAGS_BY_TAG: Final = {  # rows for columns, flip across, flip up and down
    2: (False, True, False),
    3: (False, True, True),
    4: (False, False, True),
    5: (True, False, False),
    6: (True, True, False),
    7: (True, True, True),
    8: (True, False, True),
}
