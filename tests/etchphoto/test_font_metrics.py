"""What letters measure, against the font's own tables as a general font library reads them.

fontTools reads `glyf`, `hmtx` and `OS/2` as the OpenType specification describes them.
"""

import numpy as np
import pytest

from etchphoto.layout.design import Align, Box, LetteringLayer, Stand
from etchphoto.lettering.drawing import drawn_lines
from etchphoto.lettering.fonts import find_font
from etchphoto.lettering.setting import set_text, stroke
from support.samples.designs import span_mm

BOX = Box(left_mm=0, top_mm=0, width_mm=200, height_mm=60)
NAMES = ("Aileron", "DejaVu Sans", "DejaVu Sans Bold", "DejaVu Serif", "DejaVu Sans Mono")


@pytest.fixture(autouse=True)
def free_family(request):
    """Want the free family for its own tests alone."""
    if request.node.callspec.params["name"] != "Aileron":
        request.getfixturevalue("fonts")


def tables(name):
    from fontTools.ttLib import TTFont  # noqa: PLC0415 - nothing else in the tests needs it

    return TTFont(find_font(name).file)


def bounds(font, letter):
    """Return left, bottom, right and top of a glyph's outline, in shares of an em."""
    from fontTools.pens.boundsPen import BoundsPen  # noqa: PLC0415

    glyphs = font.getGlyphSet()
    pen = BoundsPen(glyphs)
    glyphs[font.getBestCmap()[ord(letter)]].draw(pen)
    return tuple(edge / font["head"].unitsPerEm for edge in pen.bounds)


def set_at(name, text, size_mm=10.0):
    layer = LetteringLayer(text=text, size_mm=size_mm, align=Align.LEFT, stand=Stand.TOP)
    return set_text(layer, BOX, find_font(name))


@pytest.mark.parametrize("name", NAMES)
def test_capitals_are_as_high_as_was_said_by_the_fonts_own_outline(name):
    text = set_at(name, "Hx")
    font = tables(name)

    assert text.em_mm * bounds(font, "H")[3] == pytest.approx(10, rel=0.002)
    if font["OS/2"].version >= 2:
        cap_height = font["OS/2"].sCapHeight / font["head"].unitsPerEm
        assert text.em_mm * cap_height == pytest.approx(10, rel=0.002)


@pytest.mark.parametrize("name", NAMES)
def test_letters_stand_as_far_apart_as_the_fonts_advances_say(name):
    """`hmtx`: from the first stem to the last of HHHH lie three advances; H has no kerning to H."""
    text, font = set_at(name, "HHHH"), tables(name)

    advance = font["hmtx"][font.getBestCmap()[ord("H")]][0] / font["head"].unitsPerEm
    left, _, right, _ = bounds(font, "H")
    assert text.ink.width_mm == pytest.approx((3 * advance + right - left) * text.em_mm, abs=0.05)


@pytest.mark.parametrize(
    ("name", "letter"), [*(("Aileron", letter) for letter in "Hg&8"), ("DejaVu Sans", "Ä")]
)
@pytest.mark.parametrize("spacing_mm", [0.1, 0.23])
def test_every_edge_of_a_letters_dots_lies_within_one_dot_of_its_outline(name, letter, spacing_mm):
    text, font = set_at(name, letter, size_mm=9.0), tables(name)
    line = text.lines[0]
    row, column, ink = next(drawn_lines(text, spacing_mm))

    left, bottom, right, top = (edge * text.em_mm for edge in bounds(font, letter))
    across = np.array(span_mm(ink.any(axis=0), spacing_mm)) + column * spacing_mm
    down = np.array(span_mm(ink.any(axis=1), spacing_mm)) + row * spacing_mm
    assert across == pytest.approx([line.x_mm + left, line.x_mm + right], abs=spacing_mm)
    assert down == pytest.approx([line.baseline_mm - top, line.baseline_mm - bottom],
                                 abs=spacing_mm)  # fmt: skip


@pytest.mark.parametrize("name", NAMES[:3])
def test_a_stem_is_measured_as_wide_as_its_outline(name):
    """The I of a font without serifs is a rectangle: its width is the stem's."""
    left, _, right, _ = bounds(tables(name), "I")

    assert stroke(find_font(name), ["I"]) == pytest.approx(right - left, rel=0.08)


@pytest.mark.parametrize("name", NAMES[:2])
def test_glyphs_that_are_refused_are_those_the_fonts_character_map_lacks(name):
    font, known = find_font(name), tables(name).getBestCmap()
    letters = [chr(code) for code in range(0x21, 0x3000) if chr(code).isprintable()]

    lacking = [letter for letter in letters if ord(letter) not in known]
    refused = [letter for letter in lacking[::40] if _is_refused(font, letter)]
    taken = [letter for letter in letters[::40] if ord(letter) in known]
    assert refused == lacking[::40]
    assert [letter for letter in taken if _is_refused(font, letter)] == []


def _is_refused(font, letter):
    try:
        font.require_glyphs(letter)
    except LookupError:
        return True
    return False
