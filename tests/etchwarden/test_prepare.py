"""`etchwarden prepare` as a person uses it."""

import re

import pytest
from click.testing import CliRunner

from etchphoto.job.order_findings import GREYS_NOT_MEASURED
from etchwarden.commands.prepare import command
from etchwarden.shared.prepare_recipe import AS_SAID
from etchwire.catalogue.halftones import NAMES
from etchwire.sheet import read_sheet
from support.samples.photo_files import encoded, scene

pytestmark = pytest.mark.slow

OWN_LASER = """
name = "shed"
rated_optical_w = 10.0
spot_x_mm = 0.08
spot_y_mm = 0.08
is_spot_measured = false
max_s = 1000
max_feed_mm_per_min = 6000
acceleration_mm_per_s2 = 800
travel_x_mm = 300
travel_y_mm = 200
"""

SHED = ("--head", "{here}/shed.toml", "--speed", "3000", "--power", "70")


@pytest.fixture
def prepare(tmp_path):
    """Return a call of the command on a good photo in a folder of its own."""
    (tmp_path / "photo.png").write_bytes(encoded(scene(300, 200), "PNG"))
    (tmp_path / "shed.toml").write_text(OWN_LASER)

    def run(*options, photo="photo.png"):
        arguments = [str(tmp_path / photo), "-o", str(tmp_path / "job"), *options]
        return CliRunner().invoke(command, [text.format(here=tmp_path) for text in arguments])

    return run


def test_a_photo_becomes_a_job_and_the_command_says_what_it_will_do(prepare, tmp_path):
    result = prepare("--width", "20")

    assert result.exit_code == 0
    assert result.stderr == ""  # nothing to be said of it
    assert "photo: 20.00 × 13.30 mm, 200 × 133 dots, 73 % of the area burnt" in result.stdout
    assert "4000 mm/min and 60 % (12 W)" in result.stdout
    assert "(254 per inch): 1.8 J/mm²" in result.stdout
    assert read_sheet(tmp_path / "job").columns == 200


def test_every_wish_reaches_the_job(prepare, tmp_path):
    own = [*SHED, "--lines-per-inch", "254"]
    look = ["--halftone", "stucki", "--one-way", "--brightness", "5", "--contrast", "1.2"]
    place = ["--width", "20", "--height", "20", "--crop", "0", "0", "1", "0.9", "--at", "30", "40"]
    words = ["--surface", "white tile, two coats", "--title", "For Ida"]

    result = prepare(*own, *look, *place, *words)

    assert result.exit_code == 0
    sheet = read_sheet(tmp_path / "job")
    assert (sheet.title, sheet.recipe.surface) == ("For Ida", "white tile, two coats")
    assert (sheet.recipe.feed_mm_per_min, sheet.recipe.power_ratio) == (3000, 0.7)
    assert sheet.recipe.line_spacing_mm == pytest.approx(0.1)
    assert (sheet.halftone, sheet.is_both_directions, sheet.rows) == ("stucki", False, 200)
    assert (sheet.picture.left_mm, sheet.picture.bottom_mm) == (30, 40)


def test_where_no_daemon_answers_three_figures_are_enough(prepare, tmp_path, monkeypatch):
    monkeypatch.setenv("ETCHWARDEN_DAEMON", str(tmp_path / "nobody"))

    whole = prepare(*SHED, "--spacing", "0.1", "--width", "20")
    lacking = prepare(*SHED, "--width", "20", "--replace")

    assert whole.exit_code == 0, whole.output
    assert AS_SAID in whole.stderr
    assert read_sheet(tmp_path / "job").recipe.feed_mm_per_min == 3000
    assert lacking.exit_code == 1
    assert "nobody" in lacking.stderr


def test_a_practice_recipe_is_only_changed_where_something_was_said(prepare, tmp_path):
    assert prepare("--width", "20", "--head", "practice-5w", "--power", "50").exit_code == 0

    recipe = read_sheet(tmp_path / "job").recipe
    assert (recipe.feed_mm_per_min, recipe.power_ratio) == (500, 0.5)


@pytest.mark.parametrize(
    ("said", "is_said"),
    [(("--power", "50"), False), (("--speed", "4000"), True), ((), False)],
)
def test_settings_by_hand_tell_of_pulses_as_long_as_a_dot(prepare, said, is_said):
    """0.1 mm in three pulses of 1.024 ms is 1953 mm/min: the 8-bit firmware's registers."""
    done = prepare("--width", "20", "--head", "practice-5w", *said)

    assert done.exit_code == 0
    assert ("(computed, not measured)" in done.stderr) is is_said


BAD = (
    ((), "say how wide the picture is to be"),
    (("--width", "0"), "above zero"),
    (("--width", "-20"), "above zero"),
    (("--width", "nan"), "above zero"),
    (("--width", "inf"), "above zero"),
    (("--width", "wide"), "not a valid float"),
    (("--width", "20", "--height", "-1"), "the height must be"),
    (("--width", "20", "--spacing", "nan"), "line spacing must be"),
    (("--width", "20", "--spacing", "-0.1"), "line spacing must be"),
    (("--width", "20", "--lines-per-inch", "0"), "lines per inch must be"),
    (("--width", "20", "--lines-per-inch", "254", "--spacing", "0.1"), "are one number"),
    (("--width", "20", "--spacing", "0.05"), "measured spot of 0.08 mm"),
    (("--width", "401"), "moves only 400 × 400 mm"),
    (("--width", "20", "--at", "395", "0"), "place it nearer to the origin"),
    (("--width", "20", "--at", "nan", "0"), "cannot be placed"),
    (("--width", "20", "--at", "0", "1e308"), "cannot be placed"),
    (("--width", "1e308"), "more dots"),
    (("--width", "20", "--spacing", "1e-300"), "as small as"),
    (("--width", "20", "--crop", "0", "0", "1e-308", "1"), "less than one pixel"),
    (("--width", "20", "--power", "101"), "100 % is all of it"),
    (("--width", "20", "--power", "0"), "the power must be a number of percent"),
    (("--width", "20", "--speed", "10001"), "up to 10000 mm/min"),
    (("--width", "20", "--speed", "nan"), "the speed must be a number of mm/min"),
    (("--width", "20", "--halftone", "news"), "choose one of"),
    (("--width", "20", "--crop", "0", "0", "0", "1"), "no part of the photo"),
    (("--width", "20", "--gamma", "0"), "gamma must be"),
    (("--width", "20", "--contrast", "nan"), "contrast must be"),
    (("--width", "20", "--brightness", "101"), "brightness must be"),
    (("--width", "20", "--head", "none.toml"), "there is no laser"),
    (("--width", "20", "--head", "{here}/shed.toml"), "say how fast to etch, --speed"),
    (("--width", "20", "--head", "{here}/shed.toml", "--speed", "3000"), "--power in percent"),
    (
        ("--width", "20", *SHED),
        "--spacing in mm or --lines-per-inch",
    ),
)


@pytest.mark.parametrize(
    ("options", "said"), BAD, ids=[" ".join(row[0]) or "nothing" for row in BAD]
)
def test_a_wish_that_cannot_be_met_says_what_and_what_to_do(prepare, tmp_path, options, said):
    result = prepare(*options)

    assert result.exit_code != 0
    assert said in result.stderr
    assert not (tmp_path / "job").exists()


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("gone.jpg", None, "there is no file"),
        ("empty.jpg", b"", "is empty"),
        ("notes.jpg", b"not a picture", "is not a JPEG, PNG, WebP, TIFF or HEIC picture"),
        ("cut.jpg", encoded(scene(600, 400), "JPEG")[:4000], "was not copied whole"),
    ],
)
def test_a_photo_that_cannot_be_read_says_what_and_what_to_do(prepare, tmp_path, name, data, said):
    if data is not None:
        (tmp_path / name).write_bytes(data)

    result = prepare("--width", "20", photo=name)

    assert result.exit_code == 1
    assert said in result.stderr
    assert not (tmp_path / "job").exists()


def test_an_existing_job_is_only_replaced_when_asked(prepare, tmp_path):
    narrow = ["--width", "20", *SHED, "--spacing", "0.1"]
    prepare(*narrow, "--title", "first")

    refused = prepare(*narrow, "--title", "second")
    assert "(--replace)" in refused.stderr
    assert read_sheet(tmp_path / "job").title == "first"

    assert prepare(*narrow, "--title", "second", "--replace").exit_code == 0
    assert read_sheet(tmp_path / "job").title == "second"


def test_a_finding_that_needs_a_yes_says_how_to_give_it(prepare, tmp_path):
    narrow = ["--width", "20", *SHED, "--spacing", "0.05"]

    refused = prepare(*narrow)
    assert refused.exit_code == 1
    assert "--acknowledge spacing-below-spot" in refused.stderr

    assert prepare(*narrow, "--acknowledge", "spacing-below-spot").exit_code == 0
    assert read_sheet(tmp_path / "job").columns == 400


def test_so_much_dose_is_etched_only_when_it_is_meant(prepare, tmp_path):
    strong = ["--width", "5", "--speed", "500"]  # 14.4 J/mm²: common practice, no source, is 10

    refused = prepare(*strong)
    assert refused.exit_code == 1
    assert "--acknowledge high-dose" in refused.stderr

    assert prepare(*strong, "--acknowledge", "high-dose").exit_code == 0
    assert read_sheet(tmp_path / "job").recipe.feed_mm_per_min == 500


def test_a_photo_too_small_for_the_tile_is_remarked_on_and_etched_all_the_same(prepare):
    result = prepare("--width", "100", *SHED, "--spacing", "0.1")

    assert result.exit_code == 0
    assert "only 0.3 pixels" in result.stderr


def test_help_names_every_halftone_and_is_for_a_person():
    text = CliRunner().invoke(command, ["--help"]).stdout

    assert all(name in text for name in NAMES.values())
    assert not any(author in text for author in ("jarvis", "floyd", "stucki"))
    assert "Examples:" in text


def test_a_practice_lasers_greys_are_measured_on_its_own_surface_alone(prepare):
    own = prepare("--width", "20")
    other = prepare("--width", "20", "--surface", "a tile from the cellar", "--replace")

    assert "reys" not in own.stderr
    assert "another tile and" in other.stderr


def test_ways_of_making_dots_are_called_by_what_one_sees(prepare, tmp_path):
    named, keyed = (prepare("--width", "20", "--halftone", one) for one in ("crisp", "jarvis"))
    unknown = prepare("--width", "20", "--halftone", "woodcut")

    assert (named.exit_code, keyed.exit_code) == (0, 1)  # the folder is there already
    assert read_sheet(tmp_path / "job").halftone == "floyd-steinberg"
    assert "choose one of crisp, smooth, firm, lettering, test-card" in unknown.stderr


def test_how_long_other_dots_would_etch_stands_beside_the_jobs_own_time(prepare):
    told = prepare("--width", "20", "--halftone", "smooth").stdout

    assert re.search(r"With other dots, about: crisp .* firm .* test-card [\d mins]+\.", told)


def test_where_no_tone_card_was_read_the_note_says_what_one_would_win(prepare):
    result = prepare(*SHED, "--width", "20", "--spacing", "0.1")

    assert GREYS_NOT_MEASURED in result.stderr
    assert "steps of lightness at arm's length, instead of" in result.stderr
