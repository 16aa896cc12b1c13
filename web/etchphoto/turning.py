"""Turning a photo by quarters, and mirroring it: what a person adds to how the camera was held."""

from dataclasses import replace
from typing import Final

from etchphoto.decoder.loading import LoadedPhoto
from etchphoto.decoder.orientation import Orientation
from etchphoto.errors import UnfitOrder

QUARTERS: Final = 4


def turned(photo: LoadedPhoto, quarters: int) -> LoadedPhoto:
    """Return `photo` turned clockwise by so many quarters; sizes and crops are then of that."""
    if not 0 <= quarters < QUARTERS:
        raise UnfitOrder(f"a photo is turned by 0 to 3 quarters, not by {quarters!r}")
    for _ in range(quarters):
        photo = replace(
            photo,
            width_px=photo.height_px,
            height_px=photo.width_px,
            orientation=_quarter_further(photo.orientation),
        )
    return photo


def mirrored(photo: LoadedPhoto) -> LoadedPhoto:
    """Return `photo` with left and right exchanged, as it now stands."""
    held = photo.orientation
    return replace(photo, orientation=replace(held, is_flipped_x=not held.is_flipped_x))


def _quarter_further(held: Orientation) -> Orientation:
    # A quarter clockwise is rows for columns, then a flip across; the flips already there change
    # sides when rows become columns.
    return Orientation(not held.is_swapped, not held.is_flipped_y, held.is_flipped_x)
