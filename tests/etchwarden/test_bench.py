"""`etchwarden bench` as a person uses it."""

import shutil

import pytest
from click.testing import CliRunner

from etchwarden.commands.bench import command
from etchwarden.commands.design import command as design
from etchwire.catalogue.examples import PRACTICE_SURFACE
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, read_sheet
from support.harnesses.catalogue_bench import Shop
from support.samples.designs import JIG, SIGN

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("fonts")]


@pytest.fixture(scope="module")
def prepared(tmp_path_factory):
    """Return a folder with a jig of three pockets and a prepared sign."""
    folder = tmp_path_factory.mktemp("prepared")
    (folder / "jig.toml").write_text(JIG)
    (folder / "sign.toml").write_text(SIGN)
    made = CliRunner().invoke(
        design, ["prepare", str(folder / "sign.toml"), "-o", str(folder / "sign")]
    )
    assert made.exit_code == 0, made.output
    return folder


@pytest.fixture
def bench(tmp_path, prepared):
    """Return a call of the command beside a jig of three pockets and a prepared sign."""
    shutil.copytree(prepared, tmp_path, dirs_exist_ok=True)

    def run(*words):
        return CliRunner().invoke(command, [word.format(here=tmp_path) for word in words])

    return run


def test_signs_in_a_jig_become_one_job_and_one_of_them_is_done_again(bench, tmp_path):
    laid = ("{here}/jig.toml", "3={here}/sign", "1={here}/sign", "-o", "{here}/tonight")
    done = bench("prepare", *laid, "--tile", "60", "40", "--lot", "spring", "--set")

    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0].startswith("Signs: 2 tiles on ")
    assert lines[1] == "1. Pocket 1: House number, from x 5.50, y 5.50 to x 65.50, y 45.50 mm"
    assert lines[2].startswith("2. Pocket 3: House number, from x 135.50")
    assert lines[-1] == "Nothing lies in pocket 2."
    shown = bench("show", "{here}/tonight")
    assert shown.stdout.splitlines() == lines[:-1]
    again = bench("again", "{here}/tonight", "3", "-o", "{here}/three")
    less = bench("without", "{here}/tonight", "3", "-o", "{here}/one")

    assert (again.exit_code, less.exit_code) == (0, 0), again.output + less.output
    assert [part.pocket for part in read_sheet(tmp_path / "three").parts] == [3]
    assert [part.pocket for part in read_sheet(tmp_path / "one").parts] == [1]


def test_a_further_tile_is_laid_into_a_free_pocket_of_a_bench(bench, tmp_path):
    """Those that lay there keep their places and their rows, to the byte."""
    size = ("--tile", "60", "40")
    bench("prepare", "{here}/jig.toml", "3={here}/sign", "-o", "{here}/tonight", *size)

    more = ("{here}/tonight", "{here}/jig.toml", "1={here}/sign", "-o", "{here}/both")
    done = bench("add", *more, *size)

    assert done.exit_code == 0, done.output
    assert done.stdout.splitlines()[1].startswith("1. Pocket 1: House number, from x 5.50")
    whole = bench("prepare", "{here}/jig.toml", "3={here}/sign", "1={here}/sign",
                  "-o", "{here}/whole", *size)  # fmt: skip
    assert whole.exit_code == 0, whole.output
    for name in (GCODE_NAME, PICTURE_NAME):
        assert (tmp_path / "both" / name).read_bytes() == (tmp_path / "whole" / name).read_bytes()
    listed = bench("list", "{here}").stdout
    assert "tonight: Signs, 1 tile in pocket 3, " in listed
    assert "both: Signs, 2 tiles in pockets 1, 3, " in listed
    assert "sign:" not in listed  # one picture is no bench
    (tmp_path / "empty").mkdir()
    assert "There is no bench in" in bench("list", "{here}/empty").stdout
    assert bench("list", "{here}/nowhere").exit_code == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("{here}/tonight", "{here}/jig.toml", "3={here}/sign"), "in pocket 3 of this bench lies"),
        (("{here}/tonight", "{here}/moved.toml", "1={here}/sign"), "does not lie where Signs has"),
        (("{here}/sign", "{here}/jig.toml", "1={here}/sign"), "holds one picture, and no bench"),
        (("{here}/none", "{here}/jig.toml", "1={here}/sign"), "no job sheet can be read"),
        (("{here}/tonight", "{here}/jig.toml", "1={here}/none"), "pocket 1: no job sheet"),
    ],
)
def test_a_tile_that_cannot_be_added_leaves_no_job(bench, tmp_path, words, said):
    bench("prepare", "{here}/jig.toml", "3={here}/sign", "-o", "{here}/tonight")
    moved = JIG.replace("[5.0, 5.0]", "[8.0, 5.0]").replace("[196.0, 46.0]", "[199.0, 46.0]")
    (tmp_path / "moved.toml").write_text(moved)

    refused = bench("add", *words, "-o", "{here}/more")

    assert refused.exit_code != 0
    assert said in refused.output
    assert not (tmp_path / "more").exists()


@pytest.fixture
def shop(tmp_path, prepared):
    """Return a shop whose laser's focus cards showed 2 mm of depth at first and 0.4 mm then."""
    shutil.copytree(prepared, tmp_path, dirs_exist_ok=True)
    (tmp_path / "jig.toml").write_text(JIG.replace("focus_depth_mm = 0.5", ""))
    head = read_sheet(tmp_path / "sign").head.name
    with Shop(tmp_path) as shop:
        for number, depth_mm in ((1, 2.0), (2, 0.4)):
            card = {"number": number, "kind": "focus", "head": head, "surface": PRACTICE_SURFACE,
                    "gcode_sha256": f"{number}" * 64, "layout_packed": "packed"}  # fmt: skip
            shop.logbook.note("save_card", card=card)
            reading = {"card": number, "way": "camera", "summary": {"in_focus_mm": depth_mm}}
            shop.logbook.note("save_reading", reading=reading)
        yield shop


def test_a_tile_warped_beyond_the_depth_that_a_focus_card_showed_is_refused(shop):
    """The jig, a file, says no depth; the laser's newest focus card showed 0.4 mm."""
    words = "bench prepare {here}/jig.toml 2={here}/sign --tile 60 40"

    refused = shop.say(f"{words} --warp 0.5 -o {{here}}/warped")

    assert refused.exit_code == 1
    assert "the tile of pocket 2 is warped by 0.5 mm" in refused.stderr
    assert "in focus over 0.4 mm: leave the pocket empty" in refused.stderr
    assert not (shop.folder / "warped").exists()
    shop.done(f"{words} --warp 0.39 -o {{here}}/flat")
    more = "bench add {here}/flat {here}/jig.toml 1={here}/sign --tile 60 40 -o {here}/both"
    assert "the tile of pocket 1 is warped by 0.5 mm" in shop.say(f"{more} --warp 0.5").stderr


def test_a_depth_that_the_jig_says_counts_instead_of_the_card_s(shop):
    (shop.folder / "jig.toml").write_text(JIG)  # 0.5 mm

    laid = shop.done("bench prepare {here}/jig.toml 2={here}/sign --warp 0.45 -o {here}/laid")

    assert "Pocket 2" in laid


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("x={here}/sign",), "'x="),
        (("1={here}/none",), "pocket 1: no job sheet can be read"),
        (("1={here}/sign", "--thickness", "9"), "is 9 mm thick, and Signs is for 8 mm"),
        (("1={here}/sign", "--warp", "1"), "is warped by 1 mm"),
        (("1={here}/sign", "2={here}/sign", "--lot", "a", "--lot", "2=b", "--set"), "one lot"),
    ],
)
def test_what_cannot_be_laid_is_refused_in_a_sentence(bench, tmp_path, words, said):
    refused = bench("prepare", "{here}/jig.toml", *words, "-o", "{here}/tonight")

    assert refused.exit_code != 0
    assert said in refused.output
    assert not (tmp_path / "tonight").exists()
