"""What is asked for: a photo's size, recipe, look and dots, on one head."""

from dataclasses import dataclass
from typing import Final

from etchphoto.decoder.loading import LoadedPhoto
from etchphoto.dots.speeds import Motion
from etchphoto.errors import UnfitOrder
from etchphoto.expected import DotLook
from etchphoto.framing import Crop, Frame, frame_photo
from etchphoto.grey_mixes import EYE, GREY_MIXES
from etchphoto.halftone import HALFTONES
from etchphoto.measured_tone import MeasuredTone
from etchphoto.retouching import NOT_RETOUCHED, Retouching
from etchphoto.tone import AS_PHOTOGRAPHED, BURNT_AS_WANTED, GUESSED_BLACK, Adjustments, ToneCurve
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.halftones import halftone_name
from etchwire.catalogue.heads import Head, Recipe

DEFAULT_HALFTONE: Final = "jarvis"
LETTERING: Final = "threshold"  # the halftone without greys
FROM_TEST_CARD: Final = "test-card"  # dots searched for, by the dot that a tone card showed
PHOTO_HALFTONES: Final = (*HALFTONES, FROM_TEST_CARD)

_NO_DOT: Final = (
    "dots from your test card need a tone card that was read with this speed, power, spacing and "
    "air assist: etch one, or choose another halftone"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoOrder:
    """What is asked for: how large, on which head, by which recipe, and how it shall look.

    Without a height the photo's shape decides it. `at_x_mm` and `at_y_mm` place the lower left
    corner of the picture; left out, it lies as near to the origin as the run-ups allow. `tone` is
    used where it was measured with this recipe and halftone.
    `retouching` is in shares of the photo. `acknowledged` are the names of findings a person has
    said yes to.
    """

    head: Head
    recipe: Recipe
    width_mm: float
    height_mm: float | None = None
    crop: Crop | None = None
    grey_mix: str = EYE
    adjustments: Adjustments = AS_PHOTOGRAPHED
    retouching: Retouching = NOT_RETOUCHED
    tone: MeasuredTone | None = None
    halftone: str = DEFAULT_HALFTONE
    is_both_directions: bool = True
    at_x_mm: float | None = None
    at_y_mm: float | None = None
    title: str | None = None
    acknowledged: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        """Refuse what does not depend on the photo."""
        if self.halftone not in PHOTO_HALFTONES:
            raise UnfitOrder(
                f"there is no halftone {self.halftone!r}: choose one of "
                f"{', '.join(map(halftone_name, PHOTO_HALFTONES))}"
            )
        if self.grey_mix not in GREY_MIXES:
            raise UnfitOrder(
                f"there is no mix of colours {self.grey_mix!r}: choose one of "
                f"{', '.join(GREY_MIXES)}"
            )
        if self.halftone == FROM_TEST_CARD and self.dot is None:
            raise UnfitOrder(_NO_DOT)
        require_head_can(self.head, self.recipe)

    @property
    def dot(self) -> Dot | None:
        """The dot that this recipe leaves, where a tone card showed it."""
        return None if self.tone is None else self.tone.dot_for(self.recipe)

    @property
    def black(self) -> float:
        """What fired black reflects beside the bare tile: by the tone card, or a guess."""
        return GUESSED_BLACK if self.dot is None else self.dot.black

    @property
    def motion(self) -> Motion:
        """What decides how fast the dots are run."""
        return Motion(self.head, self.recipe, self.is_both_directions)

    @property
    def look(self) -> DotLook | None:
        """How the dots of this order look on the tile, where a tone card showed it."""
        return None if self.dot is None else DotLook(self.dot, self.motion)

    @property
    def tone_curve(self) -> ToneCurve:
        """The tone curve that holds for this recipe and halftone."""
        if self.tone is None or self.halftone == FROM_TEST_CARD:
            return BURNT_AS_WANTED
        return self.tone.curve_for(self.motion, self.halftone)


def frame_of(photo: LoadedPhoto, order: PhotoOrder) -> Frame:
    """Return how `photo` lies on the tile; raise UnfitOrder where it does not fit the machine."""
    frame = frame_photo(
        photo.width_px,
        photo.height_px,
        width_mm=order.width_mm,
        height_mm=order.height_mm,
        line_spacing_mm=order.recipe.line_spacing_mm,
        crop=order.crop,
    )
    head = order.head
    if frame.width_mm > head.travel_x_mm or frame.height_mm > head.travel_y_mm:
        raise UnfitOrder(
            f"the picture is {frame.width_mm:.1f} × {frame.height_mm:.1f} mm, but {head.name} "
            f"moves only {head.travel_x_mm:g} × {head.travel_y_mm:g} mm: make it smaller"
        )
    return frame


def require_head_can(head: Head, recipe: Recipe) -> None:
    """Raise UnfitOrder for a recipe that this head cannot run."""
    if recipe.feed_mm_per_min > head.max_feed_mm_per_min:
        raise UnfitOrder(
            f"{recipe.feed_mm_per_min:g} mm/min is faster than {head.name} can move: choose a "
            f"speed up to {head.max_feed_mm_per_min:g} mm/min"
        )
    if head.is_spot_measured and is_below_spot(head, recipe):
        raise UnfitOrder(
            f"a line spacing of {recipe.line_spacing_mm:.4g} mm is narrower than this laser's "
            f"measured spot of {head.spot_mm:g} mm, so lines would burn into one another: choose "
            f"{head.spot_mm:g} mm or more"
        )


def is_below_spot(head: Head, recipe: Recipe) -> bool:
    """Return whether lines lie closer than the spot is wide."""
    return recipe.line_spacing_mm < head.spot_mm * (1 - 1e-9)
