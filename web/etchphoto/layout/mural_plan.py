"""The plan by which a mural is laid: a page to print, with every tile's number and its way up."""

import base64
from html import escape
from io import BytesIO
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from etchphoto.layout.mural import Mural
from etchphoto.light import linear_to_srgb

# A4 (ISO 216), lying or standing as the wall does, with margins that printers keep.
_LONG_MM, _SHORT_MM = 297.0, 210.0
_EDGE_MM: Final = 12.0
_HEAD_MM: Final = 26.0
_PALE: Final = 0.55  # how much of the photo's darkness is printed under the numbers
_QUALITY: Final = 60


def plan_svg(mural: Mural, light: NDArray[np.float32]) -> str:
    """Return the plan as an SVG of one sheet of A4, in millimetres.

    `light` is the photo as it lies on the wall, small, 0 to 1.
    """
    wall = mural.wall
    is_lying = wall.width_mm >= wall.height_mm
    sheet = (_LONG_MM, _SHORT_MM) if is_lying else (_SHORT_MM, _LONG_MM)
    room = sheet[0] - 2 * _EDGE_MM, sheet[1] - 2 * _EDGE_MM - _HEAD_MM
    scale = min(room[0] / wall.width_mm, room[1] / wall.height_mm)
    left, top = (sheet[0] - wall.width_mm * scale) / 2, _EDGE_MM + _HEAD_MM
    size = f'width="{wall.width_mm * scale:.3f}" height="{wall.height_mm * scale:.3f}"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{sheet[0]:g}mm" height="{sheet[1]:g}mm" '
        f'viewBox="0 0 {sheet[0]:g} {sheet[1]:g}" font-family="sans-serif">',
        f"<title>{escape(mural.name)}: how to lay it</title>",
        f'<rect width="{sheet[0]:g}" height="{sheet[1]:g}" fill="#fff"/>',
        *_head(mural),
        f'<svg x="{left:.3f}" y="{top:.3f}" {size} viewBox="0 0 {wall.width_mm:g} '
        f'{wall.height_mm:g}">',
        _photo(mural, light),
        *_tiles(mural),
        "</svg>",
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _head(mural: Mural) -> list[str]:
    wall = mural.wall
    lines = (
        f"{wall.columns} × {wall.rows} tiles of {wall.tile_width_mm:g} × {wall.tile_height_mm:g} mm"
        f", joint {wall.joint_mm:g} mm",
        f"Overall {wall.width_mm:g} × {wall.height_mm:g} mm. Seen from the front; arrows point up.",
    )
    said = [f'<text x="{_EDGE_MM}" y="{_EDGE_MM + 6}" font-size="7">{escape(mural.name)}</text>']
    for number, line in enumerate(lines):
        y = _EDGE_MM + 13 + 6 * number
        said.append(f'<text x="{_EDGE_MM}" y="{y:g}" font-size="4.2">{line}</text>')
    return said


def _photo(mural: Mural, light: NDArray[np.float32]) -> str:
    pale = 1 - _PALE * (1 - np.clip(light, 0, 1))
    drawn = BytesIO()
    codes = np.rint(linear_to_srgb(pale) * 255).astype(np.uint8)
    Image.fromarray(codes).save(drawn, "JPEG", quality=_QUALITY)
    data = base64.b64encode(drawn.getvalue()).decode("ascii")
    return (
        f'<image width="{mural.wall.width_mm:g}" height="{mural.wall.height_mm:g}" '
        f'preserveAspectRatio="none" href="data:image/jpeg;base64,{data}"/>'
    )


def _tiles(mural: Mural) -> list[str]:
    """Return every tile: the joints are covered, the number and an arrow lie in its middle."""
    wall = mural.wall
    wide, high, joint = wall.tile_width_mm, wall.tile_height_mm, wall.joint_mm
    hair = min(wide, high) / 150
    drawn = []
    for number in range(1, wall.columns):
        x = number * (wide + joint) - joint
        drawn.append(f'<rect x="{x:g}" width="{joint:g}" height="{wall.height_mm:g}" fill="#fff"/>')
    for number in range(1, wall.rows):
        y = number * (high + joint) - joint
        drawn.append(f'<rect y="{y:g}" width="{wall.width_mm:g}" height="{joint:g}" fill="#fff"/>')
    size = min(wide, high) / 3
    for row in range(wall.rows):
        for column in range(wall.columns):
            x, y = column * (wide + joint), row * (high + joint)
            middle, base = x + wide / 2, y + high / 2 + size * 0.5
            tip = y + high / 2 - size * 0.75
            drawn += [
                f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" fill="none" '
                f'stroke="#000" stroke-width="{hair:g}"/>',
                f'<text x="{middle:g}" y="{base:g}" font-size="{size:g}" text-anchor="middle" '
                f'stroke="#fff" stroke-width="{size / 6:g}" paint-order="stroke">'
                f"{row * wall.columns + column + 1}</text>",
                f'<path d="M{middle:g} {tip:g}l{size / 6:g} {size / 4:g}h{-size / 3:g}z" '
                f'stroke="#fff" stroke-width="{size / 12:g}" paint-order="stroke"/>',
            ]
    return drawn
