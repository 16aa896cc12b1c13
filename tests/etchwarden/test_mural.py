"""`etchwarden mural` as a person uses it."""

import itertools
import shutil
import textwrap

import pytest
from click.testing import CliRunner

from etchwarden.commands.mural import command
from etchwire.sheet import read_sheet
from support.samples.designs import MURAL, mural_of_toml
from support.samples.photo_files import encoded, scene

pytestmark = pytest.mark.slow

LETTERING = """
[[layer]]
kind = "lettering"
text = "Ida"
font = "Aileron"
box = { left_mm = 1, top_mm = 1, width_mm = 30, height_mm = 15 }
"""


CROP = "[photo]\ncrop = [0.1, 0.0, 1.0, 0.9]\n"
CONTRAST = "[photo]\ncontrast = 1.3\n"
SHADES = """
[[tile]]
number = 1
white = 0.8
black = 0.1

[[tile]]
number = 4
white = 0.6
black = 0.1
"""


def command_in(folder):
    """Return a call of the command beside a mural of 3 × 2 tiles and a photo."""
    (folder / "wall.toml").write_text(MURAL)
    (folder / "sea.png").write_bytes(encoded(scene(500, 300), "PNG"))

    def run(*words, file="wall.toml", photo="sea.png"):
        start = [str(folder / file), str(folder / photo), "-o", str(folder / "wall")]
        return CliRunner().invoke(command, [*start, *words])

    return run


@pytest.fixture
def mural(tmp_path):
    return command_in(tmp_path)


@pytest.fixture(scope="module")
def made_once(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    assert command_in(folder)().exit_code == 0
    return folder / "wall"


@pytest.fixture
def made(mural, made_once, tmp_path):
    """Return the call where all tiles of the mural were made before."""
    shutil.copytree(made_once, tmp_path / "wall")
    return mural


def test_a_mural_becomes_a_job_for_each_tile_and_a_plan(mural, tmp_path):
    done = mural("--at", "20", "5")

    assert done.exit_code == 0, done.output
    assert "3 × 2 tiles, 32.5 × 17.25 mm overall with joints of 1.25 mm" in done.stdout
    folders = sorted(path.name for path in (tmp_path / "wall").iterdir())
    assert folders == ["plan.svg", *(f"tile-{number}" for number in range(1, 7))]
    sheet = read_sheet(tmp_path / "wall/tile-4")
    assert (sheet.title, sheet.columns, sheet.rows) == ("Harbour & sea, tile 4 of 6", 100, 80)
    assert (sheet.picture.left_mm, sheet.picture.bottom_mm) == (20, 5)


def test_one_tile_is_made_again_alone(made, tmp_path):
    before = (tmp_path / "wall/tile-4/job.gcode").read_bytes()

    again = made("--only", "4")

    assert again.exit_code == 0, again.output
    assert "Harbour & sea, tile 4 of 6: 10.00 × 8.00 mm" in again.stdout
    assert (tmp_path / "wall/tile-4/job.gcode").read_bytes() == before


@pytest.mark.parametrize(
    ("changed", "is_there"),
    [
        *itertools.product((CROP, CONTRAST, LETTERING), (True, False)),
        (SHADES, True),  # of this tile alone: its neighbours do not show it
    ],
)
def test_a_tile_is_not_made_again_from_a_mural_that_was_changed(made, tmp_path, changed, is_there):
    """Held to the dots that the tile had; where its job is gone, to those of a neighbour."""
    tile = tmp_path / "wall/tile-1"
    before = (tile / "job.gcode").read_bytes()
    if not is_there:
        shutil.rmtree(tile)
    (tmp_path / "wall.toml").write_text(MURAL + changed)

    again = made("--only", "1")

    assert (again.exit_code, "was changed since" in " ".join(again.stderr.split())) == (1, True)
    assert tile.exists() == is_there
    assert not is_there or (tile / "job.gcode").read_bytes() == before


def test_a_tile_whose_job_is_gone_is_made_again_as_it_was(made, tmp_path):
    tile = tmp_path / "wall/tile-4"
    before = (tile / "job.gcode").read_bytes()
    shutil.rmtree(tile)

    again = made("--only", "4", "--at", "20", "5")

    assert again.exit_code == 0, again.output
    assert read_sheet(tile).picture.left_mm == 20  # where it lies is said anew
    made("--only", "4")
    assert (tile / "job.gcode").read_bytes() == before


def test_a_tile_that_stays_white_has_no_job_and_that_is_said(mural, tmp_path):
    picture = scene(500, 300)
    picture[:, :170] = 255
    (tmp_path / "sea.png").write_bytes(encoded(picture, "PNG"))

    done = mural()

    assert "2 tiles stay white and have no job." in done.stdout
    assert not (tmp_path / "wall/tile-1").exists()


@pytest.mark.slow
def test_dots_are_searched_for_where_that_is_asked_and_its_time_is_said_before(mural, tmp_path):
    """One tile made again alone has the dots that it had."""
    (tmp_path / "wall.toml").write_text(MURAL + '[photo]\nhalftone = "test-card"\n')

    done = mural()
    before = (tmp_path / "wall/tile-5/job.gcode").read_bytes()
    again = mural("--only", "5")

    assert done.exit_code == 0, done.output
    assert "Searching for 0.1 million dots takes about" in done.stderr
    assert read_sheet(tmp_path / "wall/tile-5").halftone == "test-card"
    assert again.exit_code == 0, again.output
    assert "Searching" not in again.stderr  # for one tile it takes seconds
    assert (tmp_path / "wall/tile-5/job.gcode").read_bytes() == before


def test_lettering_lies_over_the_photo_and_over_the_joints(mural, tmp_path):
    (tmp_path / "wall.toml").write_text(MURAL + LETTERING)

    done = mural()

    assert done.exit_code == 0, done.output
    assert "“Ida” lies across a joint: 1.25 mm of it are left out" in " ".join(done.stderr.split())


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("width_mm = 30", "width_mm = 33", "layer 1 (lettering) lies outside the tile"),
        (
            LETTERING[: LETTERING.index("box")],
            '[[layer]]\nkind = "photo"\n',
            "a mural has one photo",
        ),
        ('text = "Ida"', 'words = "Ida"', "cannot have the entry 'words' on line 20"),
    ],
)
def test_layers_that_cannot_be_laid_are_refused(mural, tmp_path, old, new, said):
    shade = "\n[[tile]]\nnumber = 1\nwhite = 0.8\nblack = 0.1\n"
    (tmp_path / "wall.toml").write_text(MURAL + shade + LETTERING.replace(old, new))

    done = mural()

    assert done.exit_code == 1
    assert said in " ".join(done.stderr.split())
    assert not (tmp_path / "wall").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--only", "4"), "make all of it first"),
        (("--only", "9"), "the tiles 1 to 6"),
        (("--spacing", "0.05"), "measured spot of 0.08 mm"),
        (("--at", "395", "0"), "place it nearer to the origin"),
    ],
)
def test_what_cannot_be_made_says_why_and_leaves_nothing(mural, tmp_path, words, said):
    done = mural(*words)

    assert done.exit_code == 1, done.output
    assert said in done.stderr
    assert not (tmp_path / "wall").exists()


def test_the_example_of_the_help_is_a_mural():
    text = CliRunner().invoke(command, ["--help"]).stdout
    example = textwrap.dedent(text[text.index('  format = "') : text.index("Examples:")])

    assert mural_of_toml(example).wall.tiles == 48
