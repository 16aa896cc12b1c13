"""What a draft asks of etchphoto; for the child process, since it loads numpy."""

from typing import Final

from etchphoto.errors import UnfitOrder
from etchphoto.framing import Crop
from etchphoto.job import PhotoOrder
from etchphoto.measured_tone import MeasuredTone
from etchphoto.retouching import Oval, Retouching
from etchphoto.tone import Adjustments
from etchweb.drafts.store import Draft

# How far the sliders reach. static/drafts/tone.js has the same figures.
STEPS_TO_DOUBLE: Final = 60  # contrast and gamma double over so many of a slider's hundred steps
FULL_DETAIL: Final = 2.0


def adjustments_of(draft: Draft) -> Adjustments:
    """Return what the draft's sliders mean."""
    return Adjustments(
        gamma=2.0 ** (draft.lighter / STEPS_TO_DOUBLE),
        contrast=2.0 ** (draft.contrast / STEPS_TO_DOUBLE),
        local_contrast=draft.local_contrast / 100 * FULL_DETAIL,
        sharpness=draft.sharpness / 100 * FULL_DETAIL,
        open_shadows=draft.open_shadows,
    )


def retouching_of(draft: Draft) -> Retouching:
    """Return what the draft's oval and its two sliders mean, in shares of the photo."""
    oval = Oval(*draft.oval) if draft.oval else None
    return Retouching(oval=oval, lightening=draft.face_light, fade=draft.fade)


def order_of(draft: Draft) -> PhotoOrder:
    """Return the order of a draft that has been decided; raise UnfitOrder where it has not."""
    if draft.width_mm is None or draft.head is None or draft.recipe is None:
        raise UnfitOrder("say first how large, with which laser, and on which tile and paint")
    return PhotoOrder(
        head=draft.head,
        recipe=draft.recipe,
        width_mm=draft.width_mm,
        height_mm=draft.height_mm,
        crop=Crop(*draft.crop) if draft.crop else None,
        grey_mix=draft.grey_mix,
        adjustments=adjustments_of(draft),
        retouching=retouching_of(draft),
        tone=MeasuredTone.from_record(draft.tone) if draft.tone else None,
        halftone=draft.halftone,
        is_both_directions=draft.head.register.is_measured,
        at_x_mm=draft.at_x_mm,
        at_y_mm=draft.at_y_mm,
        title=draft.title,
    )
