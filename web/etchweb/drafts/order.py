"""What a draft asks of etchphoto; for the child process, since it loads numpy."""

from dataclasses import asdict, replace
from typing import Final

from etchphoto.errors import UnfitOrder
from etchphoto.framing import Crop
from etchphoto.job.order import PhotoOrder
from etchphoto.layout.design import (
    Box,
    Design,
    Ink,
    Layer,
    LetteringLayer,
    MaskLayer,
    OutlineLayer,
    PhotoLayer,
    Shape,
    Stand,
    Tile,
)
from etchphoto.measured_tone import MeasuredTone
from etchphoto.retouching import Oval, Retouching
from etchphoto.tone import Adjustments
from etchweb.drafts.decoration import Decoration
from etchweb.drafts.store import STEPS_TO_DOUBLE, Draft

FULL_DETAIL: Final = 2.0  # where a slider of details ends; static/drafts/tone.js has the same


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


# Our choices: how near letters come to the edge, what share of the height they may fill by
# themselves, and how far their field reaches beyond them.
_EDGE_MM: Final = 3.0
_EDGE_SHARE: Final = 0.04
_LETTERING_SHARE: Final = 0.2
_FIELD_MM: Final = 1.5
_FIELD_SHARE: Final = 0.12  # of the strip, where that is less


def design_of(draft: Draft) -> Design:
    """Return the picture with what was added to it; raise UnfitDesign where it has no room."""
    if draft.width_mm is None or draft.height_mm is None:
        raise UnfitOrder("say first how large the picture is")
    added = draft.decoration
    tile = Tile(width_mm=draft.width_mm, height_mm=draft.height_mm, margin_mm=0.0)
    layers: list[Layer] = [PhotoLayer(crop=draft.crop, **asdict(adjustments_of(draft)))]
    shape = Shape(added.shape)
    if shape is not Shape.RECTANGLE or added.soft_mm:
        layers.append(MaskLayer(shape=shape, soft_mm=added.soft_mm))
    if added.line_mm:
        layers.append(OutlineLayer(shape=shape, line_mm=added.line_mm))
    if added.text:
        box = _lettering_box(tile, added)
        field_mm = min(_FIELD_MM, _FIELD_SHARE * box.height_mm)
        layers.append(
            LetteringLayer(
                text=added.text,
                font=added.font,
                size_mm=added.size_mm or None,
                box=box,
                stand=Stand(added.stand),
                ink=Ink(added.ink),
                field_mm=field_mm if added.has_field else None,
            )
        )
    return Design(name=draft.title, tile=tile, layers=tuple(layers))


def _lettering_box(tile: Tile, added: Decoration) -> Box:
    """Return where the lettering goes: all inside the edge, or a strip that it fills."""
    edge_mm = min(_EDGE_MM, _EDGE_SHARE * min(tile.width_mm, tile.height_mm)) + added.line_mm
    room = replace(tile, margin_mm=edge_mm).inside
    if added.size_mm:
        return room
    high_mm = room.height_mm * _LETTERING_SHARE
    down = {Stand.TOP: 0.0, Stand.MIDDLE: 0.5, Stand.BOTTOM: 1.0}[Stand(added.stand)]
    return Box(
        left_mm=room.left_mm,
        top_mm=room.top_mm + down * (room.height_mm - high_mm),
        width_mm=room.width_mm,
        height_mm=high_mm,
    )
