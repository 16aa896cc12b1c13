"""What a draft asks of etchphoto; for the child process, since it loads numpy."""

import math
from dataclasses import asdict, replace
from typing import Final

import numpy as np

from etchphoto.errors import UnfitOrder
from etchphoto.framing import Crop
from etchphoto.job.order import PhotoOrder
from etchphoto.layout.design import (
    USUAL_MARGIN_MM,
    Align,
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
from etchphoto.layout.mural import Mural, TileShade, Wall, WallDots
from etchphoto.light import luminance_of_lightness
from etchphoto.measured_tone import MeasuredTone
from etchphoto.retouching import Oval, Retouching
from etchphoto.tone import Adjustments
from etchweb.drafts.decoration import Decoration
from etchweb.drafts.draft import STEPS_TO_DOUBLE, Draft

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


def order_as_one(draft: Draft) -> tuple[PhotoOrder, float]:
    """Return the order of the whole picture, and by how much it is smaller than it will be.

    A mural is tried on dots as for one tile of it: all its dots would be too many at once.
    """
    order = order_of(draft)
    if draft.wall is None or draft.picture_mm is None:
        return order, 1.0
    scale = 1 / max(draft.wall[:2])
    width_mm, height_mm = draft.picture_mm
    return replace(order, width_mm=width_mm * scale, height_mm=height_mm * scale), scale


def wall_of(draft: Draft) -> Wall:
    """Return the draft's wall; raise UnfitOrder where that was not decided."""
    if draft.wall is None or draft.width_mm is None or draft.height_mm is None:
        raise UnfitOrder("say first over how many tiles it lies, and how large they are")
    columns, rows, joint_mm = draft.wall
    return Wall(
        columns=columns,
        rows=rows,
        tile_width_mm=draft.width_mm,
        tile_height_mm=draft.height_mm,
        joint_mm=joint_mm,
    )


def dots_of_wall(draft: Draft) -> int:
    """Return how many dots the draft's mural has."""
    spacing_mm = order_of(draft).recipe.line_spacing_mm
    dots = WallDots(wall=wall_of(draft), spacing_mm=spacing_mm)
    return dots.columns * dots.rows


def mural_of(draft: Draft) -> Mural:
    """Return the draft's mural; raise UnfitOrder where that was not decided."""
    wall = wall_of(draft)
    look = replace(adjustments_of(draft), local_contrast=0.0, sharpness=0.0)
    return Mural(
        name=draft.title,
        wall=wall,
        photo=PhotoLayer(crop=draft.crop, **asdict(look)),
        shades=_shades(draft, wall.tiles, order_of(draft).black),
        layers=() if draft.is_plain else design_of(draft).layers[1:],  # the photo lies lowest
    )


def _shades(draft: Draft, tiles: int, black: float) -> tuple[TileShade, ...]:
    """Return what each tile reflects, where some are of another white than the usual one.

    `black` is what fired black reflects beside the usual bare tile: paint is as black on all.
    """
    if not draft.shades:
        return ()
    from etchproof.reading.whiteness import USUAL_WHITE  # noqa: PLC0415  brings OpenCV

    off = dict(draft.shades)
    usual, *whites = luminance_of_lightness(
        np.array([USUAL_WHITE + off.get(number, 0.0) for number in range(tiles + 1)])
    ).tolist()
    return tuple(
        TileShade(number=number, white=white, black=black * usual)
        for number, white in enumerate(whites, 1)
    )


# Our choices: how near letters come to the edge, what share of the height they may fill by
# themselves, and how far their field reaches beyond them.
_EDGE_MM: Final = 3.0
_EDGE_SHARE: Final = 0.04
_LETTERING_SHARE: Final = 0.2
_FIELD_MM: Final = 1.5
_FIELD_SHARE: Final = 0.12  # of the strip, where that is less
NUMBER_MM: Final = 2.0  # a capital's height: large enough to find a tile by
_NUMBER_FIELD_MM: Final = 0.5
_MARGIN_SHARE: Final = 0.1  # of a sign's shorter side, on tiles too small for the usual margin


def design_of(draft: Draft) -> Design:
    """Return the picture with what was added to it, or the sign; of a mural, as on one tile.

    Raise UnfitDesign where the tile has no room for it.
    """
    if draft.width_mm is None or draft.height_mm is None or draft.picture_mm is None:
        raise UnfitOrder("say first how large the picture is")
    if draft.is_sign:
        sign = _sign(draft.title, draft.width_mm, draft.height_mm, draft.decoration)
        return replace(sign, layers=(*sign.layers, *_number_of(draft)))
    added = draft.decoration
    if draft.wall:
        wall_of(draft).require_room_for_layers()
    width_mm, height_mm = draft.picture_mm
    tile = Tile(width_mm=width_mm, height_mm=height_mm, margin_mm=0.0)
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
    layers += _number_of(draft)
    return Design(name=draft.title, tile=tile, layers=tuple(layers))


def _number_of(draft: Draft) -> list[Layer]:
    """Return the order's number in the lower right corner, black on white, where it is wanted."""
    if not draft.has_number or draft.order is None:
        return []
    number = LetteringLayer(
        text=f"{draft.order}",
        font=draft.decoration.font,
        size_mm=NUMBER_MM,
        align=Align.RIGHT,
        stand=Stand.BOTTOM,
        field_mm=_NUMBER_FIELD_MM,
    )
    return [number]


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


def _sign(name: str, width_mm: float, height_mm: float, added: Decoration) -> Design:
    """Return a sign: black on the white tile, or white on a black field as large as its shape."""
    margin_mm = min(USUAL_MARGIN_MM, _MARGIN_SHARE * min(width_mm, height_mm))
    tile = Tile(width_mm=width_mm, height_mm=height_mm, margin_mm=margin_mm)
    shape, line_mm, ink = Shape(added.shape), added.line_mm, Ink(added.ink)
    layers: list[Layer] = []
    border = tile.inside
    if ink is Ink.WHITE:  # a line as wide as the tile fills its shape
        layers.append(OutlineLayer(shape=shape, line_mm=max(width_mm, height_mm)))
        border = border.grown(-line_mm)
    if line_mm:
        layers.append(OutlineLayer(shape=shape, line_mm=line_mm, box=border, ink=ink))
    edge_mm = min(_EDGE_MM, _EDGE_SHARE * min(width_mm, height_mm)) + line_mm
    layers.append(
        LetteringLayer(
            text=added.text,
            font=added.font,
            size_mm=added.size_mm or None,
            box=_within(shape, border.grown(-edge_mm)),
            stand=Stand(added.stand),
            ink=ink,
        )
    )
    return Design(name=name, tile=tile, layers=tuple(layers))


def _within(shape: Shape, box: Box) -> Box:
    """Return the largest rectangle of its kind that lies in `shape` in the middle of `box`."""
    if shape not in (Shape.CIRCLE, Shape.OVAL):
        return box
    across = down = min(box.width_mm, box.height_mm)
    if shape is Shape.OVAL:
        across, down = box.width_mm, box.height_mm
    wide_mm, high_mm = across / math.sqrt(2), down / math.sqrt(2)
    return Box(
        left_mm=box.left_mm + (box.width_mm - wide_mm) / 2,
        top_mm=box.top_mm + (box.height_mm - high_mm) / 2,
        width_mm=wide_mm,
        height_mm=high_mm,
    )
