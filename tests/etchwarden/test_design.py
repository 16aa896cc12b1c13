"""`etchwarden design` as a person uses it."""

import textwrap

import pytest
from click.testing import CliRunner
from PIL import Image

from etchwarden.commands.design import command
from etchwire.sheet import read_sheet
from support.samples.designs import PORTRAIT, SIGN, design_of_toml
from support.samples.photo_files import encoded, scene


@pytest.fixture
def design(tmp_path):
    """Return a call of the command beside a sign, a portrait's template and a photo."""
    (tmp_path / "sign.toml").write_text(SIGN)
    (tmp_path / "portrait.toml").write_text(PORTRAIT)
    (tmp_path / "ida.png").write_bytes(encoded(scene(300, 200), "PNG"))

    def run(*words):
        return CliRunner().invoke(command, [word.format(here=tmp_path) for word in words])

    return run


@pytest.mark.slow
def test_a_sign_becomes_a_job_at_the_recipes_settings(design, tmp_path):
    done = design("prepare", "{here}/sign.toml", "-o", "{here}/job", "--title", "For the gate")

    assert done.exit_code == 0, done.output
    assert "4000 mm/min and 60 % (12 W)" in done.stdout
    assert "The thin strokes of “Jorgen & Zoe” are" in done.stderr
    sheet = read_sheet(tmp_path / "job")
    assert (sheet.title, sheet.photo, sheet.rows) == ("For the gate", None, 400)


@pytest.mark.slow
def test_a_template_is_used_with_another_photo_and_another_name(design, tmp_path):
    words = ("prepare", "{here}/portrait.toml", "--photo", "{here}/ida.png")
    placed = ("--at", "30", "40", "--one-way", "--surface", "white tile, two coats")

    first = design(*words, "-o", "{here}/a", *placed)
    second = design(*words, "-o", "{here}/b", "--text", "who", "Zoe\\nand Ida")

    assert (first.exit_code, second.exit_code) == (0, 0), first.output + second.output
    one, other = read_sheet(tmp_path / "a"), read_sheet(tmp_path / "b")
    assert one.photo == other.photo
    assert one.gcode_sha256 != other.gcode_sha256
    assert (one.picture.left_mm, one.picture.bottom_mm, one.is_both_directions) == (30, 40, False)
    assert one.recipe.surface == "white tile, two coats"


@pytest.mark.slow
def test_a_design_is_shown_in_words_and_to_scale(design, tmp_path):
    shown = design("show", "{here}/sign.toml", "--picture", "{here}/tile.png")

    assert shown.exit_code == 0, shown.output
    assert "1. outline: rounded, burnt, 1 mm wide: 56.0 × 36.0 mm" in shown.stdout
    assert "2. lettering (number): “23” in Aileron, burnt, capitals" in shown.stdout
    with Image.open(tmp_path / "tile.png") as picture:
        assert picture.info["dpi"] == pytest.approx((254, 254), abs=0.1)
        assert picture.size == (720, 520)  # 60 × 40 mm at 10 pixels, 6 mm of bench round it


def test_a_template_is_shown_without_its_photo(design):
    shown = design("show", "{here}/portrait.toml")

    assert shown.exit_code == 0
    assert "mask: circle, soft over 4 mm: 20.0 × 20.0 mm" in shown.stdout


def test_designs_of_a_folder_are_listed_with_what_is_wrong(design, tmp_path):
    (tmp_path / "bad.toml").write_text(SIGN.replace("line_mm", "line"))
    (tmp_path / "laser.toml").write_text('name = "shed"')

    listed = design("list", "{here}")

    assert listed.exit_code == 0
    assert "portrait.toml: Portrait, 20 × 20 mm: photo, mask, lettering" in listed.stdout
    assert "Cannot be used: bad.toml: layer 1 (outline) cannot have the entry" in listed.stdout
    assert "laser" not in listed.stdout
    (tmp_path / "empty").mkdir()
    assert "There is no design in" in design("list", "{here}/empty").stdout
    assert design("list", "{here}/nowhere").exit_code == 1


def test_a_design_is_kept_under_its_name_whole_or_not_at_all(design, tmp_path):
    (tmp_path / "kept").mkdir()

    added = design("add", "{here}/sign.toml", "{here}/kept")

    assert added.exit_code == 0, added.output
    kept = tmp_path / "kept/house-number.toml"
    assert kept.read_text() == SIGN
    assert "House number, 60 × 40 mm" in design("list", "{here}/kept").stdout
    (tmp_path / "sign.toml").write_text(SIGN.replace("23", "27"))
    again = design("add", "{here}/sign.toml", "{here}/kept")
    assert (again.exit_code, kept.read_text()) == (1, SIGN)
    assert "There is a design called House number in" in again.stderr
    assert design("add", "{here}/sign.toml", "{here}/kept", "--replace").exit_code == 0
    assert "27" in kept.read_text()
    assert [path.name for path in (tmp_path / "kept").iterdir()] == ["house-number.toml"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("line_mm", "line", "layer 1 (outline) cannot have the entry 'line' on line 14"),
        ("Aileron", "DejaVu Script", "the font 'DejaVu Script' is not on this computer"),
        ("Jorgen", "J\N{LATIN SMALL LETTER O WITH STROKE}rg\N{CJK UNIFIED IDEOGRAPH-6F22}n",
         "has no glyph for"),
        ("left_mm = 10", "left_mm = 30", "lies outside the tile"),
        ("etchwarden-design", "etchwarden-mural", "it is no design of ours"),
    ],
)  # fmt: skip
def test_a_design_that_cannot_be_etched_is_not_kept(design, tmp_path, old, new, said):
    (tmp_path / "kept").mkdir()
    (tmp_path / "sign.toml").write_text(SIGN.replace(old, new))

    refused = design("add", "{here}/sign.toml", "{here}/kept")

    assert (refused.exit_code, list((tmp_path / "kept").iterdir())) == (1, [])
    assert said in " ".join(refused.stderr.split())
    assert design("add", "{here}/portrait.toml", "{here}/nowhere").exit_code == 1


def test_fonts_are_listed_by_their_names(design):
    assert "Aileron\n" in design("fonts").stdout


REFUSED = (
    (("{here}/portrait.toml",), "this design has a photo in it: say which"),
    (("{here}/sign.toml", "--photo", "{here}/ida.png"), "this design has no photo in it"),
    (("{here}/portrait.toml", "--photo", "{here}/gone.png"), "there is no file"),
    (("{here}/none.toml",), "cannot be read (No such file or directory)"),
    (("{here}/sign.toml", "--text", "street", "Ash"), "is called 'street': number"),
    (("{here}/sign.toml", "--text", "number", "漢"), "no glyph for “漢” (U+6F22)"),
    (("{here}/sign.toml", "--text", "number", " "), "lettering needs a text"),
    (("{here}/sign.toml", "--spacing", "0.005"), "measured spot of 0.08 mm"),
    (("{here}/sign.toml", "--at", "395", "0"), "place it nearer to the origin"),
)


@pytest.mark.parametrize(("words", "said"), REFUSED, ids=[row[1] for row in REFUSED])
def test_what_cannot_be_etched_says_why_and_leaves_nothing(design, tmp_path, words, said):
    done = design("prepare", *words, "-o", "{here}/job")

    assert done.exit_code == 1, done.output
    assert said in done.stderr
    assert not (tmp_path / "job").exists()


def test_a_font_that_has_gone_is_refused_in_a_sentence(design, tmp_path):
    (tmp_path / "sign.toml").write_text(SIGN.replace("Aileron", "DejaVu Script"))

    done = design("prepare", "{here}/sign.toml", "-o", "{here}/job")

    assert done.exit_code == 1
    assert "the font 'DejaVu Script' is not on this computer" in done.stderr


def test_the_example_of_the_help_is_a_design():
    text = CliRunner().invoke(command, ["--help"]).stdout
    example = textwrap.dedent(text[text.index('  format = "') :])

    assert [type(layer).__name__ for layer in design_of_toml(example).layers] == [
        "PhotoLayer", "MaskLayer", "LetteringLayer", "OutlineLayer",
    ]  # fmt: skip
