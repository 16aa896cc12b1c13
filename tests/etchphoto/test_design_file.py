"""A design's file: read strictly."""

import pytest

from etchphoto.errors import UnfitDesign
from etchphoto.layout.design import Align, Box, LetteringLayer
from etchphoto.layout.design_file import read_design
from support.samples.designs import PORTRAIT, SIGN, design_of_toml


def test_every_entry_reaches_the_design():
    design = design_of_toml(SIGN)

    assert (design.name, design.tile.width_mm, design.tile.margin_mm) == ("House number", 60, 2)
    assert design.layers[1] == LetteringLayer(
        name="number",
        text="23",
        font="Aileron",
        align=Align.CENTRE,
        box=Box(left_mm=10, top_mm=5, width_mm=40, height_mm=20),
    )


def replaced(old, new):
    assert old in SIGN
    return SIGN.replace(old, new, 1)


UNFIT = (
    ("name = \"House", "title = \"House", "cannot have the entry 'title' on line LINE"),
    ("margin_mm = 2", "marge_mm = 2", "the tile cannot have the entry 'marge_mm' on line LINE"),
    ("size_mm = 3", "sise_mm = 3",
     "layer 3 (lettering) cannot have the entry 'sise_mm' on line LINE"),
    ("top_mm = 27", "to_mm = 27",
     "the box of layer 3 (lettering) cannot have the entry 'to_mm' on line LINE"),
    ("line_mm = 1", "line_mm = \"1\"", "layer 1 (outline), line_mm on line LINE: expected `float`"),
    ("line_mm = 1\n", "", "layer 1 (outline) lacks the entry 'line_mm'"),
    ("line_mm = 1", "line_mm = 0", "line_mm must be above 0"),
    ("line_mm = 1", "line_mm = nan", "line_mm must be above 0"),
    ("\"rounded\"", "\"star\"", "layer 1 (outline), shape on line LINE: invalid enum value 'star'"),
    ("\"outline\"", "\"frame\"", "layer 1 is of kind 'frame' on line LINE: choose one of photo"),
    ("\"outline\"", "[1]", "layer 1 is of kind [1] on line LINE"),
    ("version = 1", "version = 2", "of version 2; this program reads 1"),
    ("etchwarden-design", "design", "no design of ours"),
    ("text = \"23\"", "text = \" \"", "lettering needs a text"),
    ("width_mm = 60", "width_mm = 51", "layer 2 (lettering) lies outside the tile"),
    ("left_mm = 10", "left_mm = -1", "layer 2 (lettering) lies outside the tile"),
    ("margin_mm = 2", "margin_mm = 20", "leaves nothing of the tile"),
    ("height_mm = 40", "height_mm = inf", "at most 2000 mm, not inf"),
    ("[tile]", "[[tile]]", "the design has no tile"),
    ("[tile]", "[tile", "not in order at line 6"),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "said"), UNFIT, ids=[row[1] for row in UNFIT])
def test_what_is_unfit_is_named_with_its_line(old, new, said):
    text = replaced(old, new)
    line = text[: text.index(new)].count("\n") + 1

    with pytest.raises(UnfitDesign) as refused:
        design_of_toml(text)

    assert said.replace("LINE", str(line)) in str(refused.value)


def test_a_design_has_one_photo_at_most_and_one_layer_at_least():
    with pytest.raises(UnfitDesign, match="one photo at most"):
        design_of_toml(PORTRAIT + '\n[[layer]]\nkind = "photo"\n')
    with pytest.raises(UnfitDesign, match="no layer"):
        design_of_toml(SIGN.partition("[[layer]]")[0])


def test_a_template_takes_another_text_by_its_name():
    design = design_of_toml(SIGN).with_text("number", "48 b")

    assert [one.text for one in design.layers[1:]] == ["48 b", "Jorgen & Zoe"]
    with pytest.raises(UnfitDesign, match="no lettering of this design is called 'street': number"):
        design.with_text("street", "Ash Lane")


@pytest.mark.parametrize(
    ("data", "said"),
    [(None, "cannot be read"), (b'name = "\xe9"', "UTF-8"), (b"#" * 200_000, "too large")],
)
def test_a_file_that_is_no_text_of_ours_says_so(tmp_path, data, said):
    if data is not None:
        (tmp_path / "sign.toml").write_bytes(data)

    with pytest.raises(UnfitDesign, match=said):
        read_design(tmp_path / "sign.toml")
