"""The tile as it will be, to scale: its edge, what is burnt in its own black and white, a ruler."""

from io import BytesIO
from typing import Final

from PIL import Image, ImageDraw

from etchpath.writer.raster import Bits
from etchphoto.expected import QUICK_COMPRESSION, DotLook, draw_preview
from etchphoto.framing import MM_PER_INCH
from etchphoto.layout.design import Tile

PX_PER_MM: Final = 10
LONGEST_PX: Final = 3000
BENCH: Final = (120, 118, 112)
_MARK: Final = (20, 20, 20)
ROUND_MM: Final = 6.0
_RULED_MM: Final = 10


def draw_tile(
    bits: Bits, tile: Tile, look: DotLook | None = None, longest_px: int = LONGEST_PX
) -> tuple[Image.Image, float]:
    """Return the tile on the bench with a ruler of centimetres, and its pixels a millimetre."""
    longest_mm = max(tile.width_mm, tile.height_mm)
    px_per_mm = min(PX_PER_MM, longest_px / (longest_mm + 2 * ROUND_MM))
    seen = draw_preview(bits, max(1, round(longest_mm * px_per_mm)), look)
    if max(seen.size) < round(longest_mm * px_per_mm):  # a spacing wider than a pixel
        size = round(tile.width_mm * px_per_mm), round(tile.height_mm * px_per_mm)
        seen = seen.resize(size, Image.Resampling.NEAREST)
    edge = round(ROUND_MM * px_per_mm)
    picture = Image.new("RGB", (seen.width + 2 * edge, seen.height + 2 * edge), BENCH)
    picture.paste(seen, (edge, edge))
    ruler = ImageDraw.Draw(picture)
    for mm in range(0, int(tile.width_mm) + 1, _RULED_MM):
        x = edge + round(mm * px_per_mm)
        ruler.line((x, edge // 2, x, edge - 2), fill=_MARK, width=2)
    for mm in range(0, int(tile.height_mm) + 1, _RULED_MM):
        y = edge + round(mm * px_per_mm)
        ruler.line((edge // 2, y, edge - 2, y), fill=_MARK, width=2)
    return picture, px_per_mm


def tile_png(bits: Bits, tile: Tile, look: DotLook | None = None) -> bytes:
    """Return `draw_tile` as a PNG that says its scale, so that it prints at the tile's size."""
    picture, px_per_mm = draw_tile(bits, tile, look)
    dpi = px_per_mm * MM_PER_INCH
    drawn = BytesIO()
    picture.save(drawn, "PNG", dpi=(dpi, dpi), compress_level=QUICK_COMPRESSION)
    return drawn.getvalue()
