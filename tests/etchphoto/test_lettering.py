"""Lettering: fonts found, letters they lack, lines set by their ink, strokes too thin to burn."""

from dataclasses import replace
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont

from etchphoto.errors import FontMissing
from etchphoto.layout.composing import lettering_findings
from etchphoto.layout.design import Align, Box, LetteringLayer, Stand
from etchphoto.lettering.font_folders import BUNDLED
from etchphoto.lettering.fonts import find_font, found_fonts
from etchphoto.lettering.setting import set_text
from etchweb.drafts.decoration import FONTS, fonts_here
from support.samples.designs import dots, span_mm

SANS = find_font("")
BARE = find_font("", [])
NAMED_AT = (1, 4, 16)  # OpenType `name`: family, full name, typographic family
BOX = Box(left_mm=5, top_mm=5, width_mm=30, height_mm=20)
IN_BOX = "box = { left_mm = 5, top_mm = 5, width_mm = 30, height_mm = 20 }"


@pytest.fixture
def fonts_folder(tmp_path):
    """Return a folder with one font, which calls itself Workshop."""
    font = TTFont(BARE.file)
    for entry in font["name"].names:
        if entry.nameID in NAMED_AT:
            entry.string = "Workshop"
    font.save(tmp_path / "sans.ttf")
    (tmp_path / "broken.ttf").write_bytes(b"no font")
    (tmp_path / "notes.txt").write_text("nothing")
    return tmp_path


def test_fonts_are_found_by_the_names_that_they_give_themselves(fonts_folder):
    assert list(found_fonts([fonts_folder])) == ["Aileron", "Workshop"]


def test_a_computer_without_fonts_has_the_one_that_comes_with_pillow():
    """What it has: ASCII, as its own character map says; an accent is refused by its number."""
    assert list(found_fonts([])) == [BUNDLED]
    assert fonts_here([]) == (BUNDLED,)
    known = TTFont(BARE.file).getBestCmap()
    assert all(code in known for code in range(0x21, 0x7F))
    assert set_text(LetteringLayer(text="Ida & Rex, 1999"), BOX, BARE).ink.width_mm > 5
    with pytest.raises(FontMissing, match=r"“ü” \(U\+00FC\): .*apt install fonts-dejavu-core"):
        set_text(LetteringLayer(text="Jürgen"), BOX, BARE)


def test_the_page_offers_the_fonts_whose_files_are_there(tmp_path):
    (tmp_path / "below").mkdir()
    (tmp_path / "below/DejaVuSerif.ttf").touch()

    assert fonts_here([tmp_path]) == ("DejaVu Serif", "Aileron")


@pytest.mark.usefixtures("fonts")
def test_the_free_family_is_found_and_is_the_usual_one():
    assert set(FONTS) <= set(found_fonts())
    assert SANS.name == "DejaVu Sans"
    assert fonts_here() == FONTS


def test_a_font_that_is_not_there_is_refused_with_others_that_are(fonts_folder):
    with pytest.raises(FontMissing, match=r"Script' is not on this computer.* Workshop for exam"):
        find_font("Workshop Script", [fonts_folder])
    with pytest.raises(FontMissing, match=r"apt install fonts-dejavu-core\) or .*Aileron"):
        find_font("DejaVu Sans", [fonts_folder / "empty"])


def test_a_font_whose_file_has_gone_meanwhile_says_so(fonts_folder):
    font = find_font("Workshop", [fonts_folder])
    font.path.unlink()

    with pytest.raises(FontMissing, match="cannot be read any more"):
        set_text(LetteringLayer(text="Ida"), BOX, font)


@pytest.mark.usefixtures("fonts")
@pytest.mark.parametrize(
    "text", ["Jürgen Ärzte ß", "Ελένη", "Наталья", "Zoë – №5", "עברית", "نور", "a\u200db"]
)
def test_other_scripts_are_drawn_as_far_as_the_font_goes(text):
    assert set_text(LetteringLayer(text=text), BOX, SANS).ink.width_mm > 5


@pytest.mark.parametrize(
    ("text", "said"),
    [("漢Ida字", "“漢” (U+6F22), “字” (U+5B57)"), ("a\x07", "U+0007"), ("😺\U0001fabf", "U+1FABF")],
)
def test_letters_that_the_font_lacks_are_named(text, said):
    with pytest.raises(FontMissing) as refused:
        set_text(LetteringLayer(text=text), BOX, SANS)

    assert said in str(refused.value)


@pytest.mark.usefixtures("fonts")
def test_without_the_library_that_shapes_text_only_left_to_right_is_written():
    plain = replace(SANS, is_shaped=False)

    widths = [set_text(LetteringLayer(text="Harbour"), BOX, one).em_mm for one in (plain, SANS)]
    assert widths[0] == pytest.approx(widths[1], rel=0.02)  # both fill the box
    with pytest.raises(FontMissing, match=r"U\+05E2.* from right to left.*libfribidi0"):
        set_text(LetteringLayer(text="Ida עברית"), BOX, plain)


def test_a_tab_is_a_blank():
    one, other = (set_text(LetteringLayer(text=text), BOX, SANS).ink for text in ("a\tb", "a b"))

    assert one == other


@pytest.mark.usefixtures("fonts")
def test_an_accent_typed_apart_is_the_letter_with_the_accent():
    whole, apart = (set_text(LetteringLayer(text=text), BOX, SANS) for text in ("é", "e\u0301"))

    assert apart == whole


ALIGNED = (
    (Align.LEFT, Stand.TOP, 5.0, None, 5.0, None),
    (Align.RIGHT, Stand.BOTTOM, None, 35.0, None, 25.0),
    (Align.CENTRE, Stand.MIDDLE, None, None, None, None),
)


@pytest.mark.parametrize(("align", "stand", "left", "right", "top", "bottom"), ALIGNED)
def test_ink_begins_and_ends_where_the_box_does(align, stand, left, right, top, bottom):
    layer = f'kind = "lettering"\ntext = "A\\nWort"\nsize_mm = 4\nalign = "{align}"\n'
    bits = dots([f'{layer}stand = "{stand}"\n{IN_BOX}'])

    across, down = span_mm(bits.any(axis=0)), span_mm(bits.any(axis=1))
    for edge, expected in zip((*across, *down), (left, right, top, bottom), strict=True):
        if expected is not None:
            assert edge == pytest.approx(expected, abs=0.101)
    if align is Align.CENTRE:
        assert (sum(across) / 2, sum(down) / 2) == pytest.approx((20, 15), abs=0.101)


def test_without_a_size_the_lines_fill_their_box():
    bits = dots([f'kind = "lettering"\ntext = "Wilhelmine"\n{IN_BOX}'])

    assert span_mm(bits.any(axis=0)) == pytest.approx((5, 35), abs=0.101)


def test_thin_strokes_are_told_with_the_size_that_would_do():
    small = LetteringLayer(text="Ida", size_mm=1.5)
    told = lettering_findings([set_text(small, BOX, SANS)], spacing_mm=0.1, spot_mm=0.12)

    least_mm = float(told[0].sentence.partition("Make capitals ")[2].split()[0])
    larger = replace(small, size_mm=least_mm + 0.1)
    assert 2 < least_mm < 6
    assert "below 0.36 mm" in told[0].sentence
    set_larger = set_text(larger, BOX, SANS)
    assert lettering_findings([set_larger], spacing_mm=0.1, spot_mm=0.12) == ()


def test_a_shop_without_home_folders_still_finds_fonts(fonts_folder):
    assert "Workshop" in found_fonts([Path("/nowhere"), fonts_folder])
