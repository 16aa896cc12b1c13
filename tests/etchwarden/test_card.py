"""`etchwarden card` and `etchwarden read` as a person uses them."""

import json
from functools import lru_cache

import pytest
from click.testing import CliRunner

from darkroom.camera import Shot, photograph
from darkroom.focus import Beam, etch_focus
from darkroom.spacing import black_lines
from darkroom.tile import SURFACES, etch, etch_hairlines
from etchproof.layout.job import read_card_file
from etchproof.reading.values import Reading
from etchwarden.commands import card as laying_out
from etchwarden.commands import read as reading_cards
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.sheet import read_sheet

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("kept_cards")]

QUICK = ("--steps", "4", "4")


@pytest.fixture
def card(tmp_path):
    def run(kind, name, *options):
        arguments = [kind, "-o", str(tmp_path / name), *options]
        return CliRunner().invoke(laying_out.command, arguments)

    return run


@pytest.fixture
def read(tmp_path):
    def run(*arguments, answer=None):
        given = [text.format(here=tmp_path) for text in arguments]
        return CliRunner().invoke(reading_cards.command, given, input=answer)

    return run


def photograph_in(tmp_path, name, surface="willing", **axis):
    """Burn and wipe the card in a folder and put its photo beside it."""
    photo = photo_of(read_card_file(tmp_path / name), surface, **axis)
    (tmp_path / f"{name}.jpg").write_bytes(photo)


@lru_cache(maxsize=16)
def photo_of(card, surface, **axis):
    """Return the photo of a burnt card: many tests begin with the same one."""
    tile = (
        etch_hairlines(card, SURFACES[surface], **axis) if axis else etch(card, SURFACES[surface])
    )
    shot = Shot(width_px=2000, height_px=1500, tilt_degrees=15, light_ratio=1.7)
    return photograph(tile, shot).getvalue()


def test_a_person_names_laser_tile_and_paint_and_no_speed(card, tmp_path):
    result = card("power", "first", "--head", "practice-10w", "--surface", "white tile, two coats")

    assert result.exit_code == 0
    assert "power card 1: 44.9 × 63.9 mm. Etching will take 11 min" in result.stdout
    assert "reach only 2400 mm/min" in result.stderr
    assert read_card_file(tmp_path / "first").recipe.surface == "white tile, two coats"
    assert read_sheet(tmp_path / "first").title == "power card 1"


def test_every_kind_of_card_can_be_had_and_each_gets_the_next_number(card, tmp_path):
    results = [card(kind, kind) for kind in ("power", "five", "tone", "register", "spacing")]

    assert [result.exit_code for result in results] == [0, 0, 0, 0, 0]
    numbers = [read_card_file(tmp_path / kind).number for kind in ("power", "five", "tone")]
    assert numbers == [1, 2, 3]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["power", "--place", "40", "40"], "would fit there|fit there; give it at least"),
        (["power", "--speeds", "1000", "20000"], "faster than practice 20 W can move"),
        (["power", "--powers", "90", "40"], "the lower one first"),
        (["power", "--powers", "40", "140"], "more than the laser has"),
        (["power", "--steps", "1", "6"], "2 to 12 speeds"),
        (["power", "--spacing", "nan"], "line spacing"),
        (["power", "--spacing", "0.4"], "fewer than 10 lines"),
        (["power", "--number", "-3"], "numbered from 1"),
        (["power", "--halftone", "woodcut"], "choose one of"),
        (["power", "--head", "nosuch.toml"], "no laser"),
        (["power", "--at", "390", "0"], "run-ups"),
        (["tone", "--speed", "nan"], "nan"),
        (["tone", "--spacing", "0.05"], "measured spot"),
        (["register", "--head", "own.toml"], "say --speed and --power"),
        (["five", "--power", "145"], "145 %"),
        (["focus", "--wedge", "5", "5", "150"], "needs a wedge"),
        (["focus", "--wedge", "0", "8", "50"], "longer tile"),
    ],
)
def test_what_makes_no_card_ends_in_a_sentence_and_leaves_nothing(card, tmp_path, arguments, words):
    kind, *options = arguments

    result = card(kind, "card", *options)

    assert result.exit_code != 0
    assert any(word in result.stderr for word in words.split("|"))
    assert "Traceback" not in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_two_cards_side_by_side_do_not_get_one_number(card):
    card("power", "one", *QUICK)

    result = card("power", "other", "--number", "1", *QUICK)

    assert result.exit_code == 1
    assert "card 1 is" in result.stderr


def test_a_photo_of_a_power_card_gives_a_setting_and_the_next_card(card, read, tmp_path):
    card("power", "first", *QUICK)
    photograph_in(tmp_path, "first")

    result = read("{here}/first.jpg", "--card", "{here}/first", "--wiped")

    assert result.exit_code == 0
    assert "Patch D" in result.stdout
    assert "A finer card: etchwarden card power -o NAME --speeds" in result.stdout
    assert (tmp_path / "first" / "read-1.png").exists()
    stored = Reading.from_json((tmp_path / "first" / "reading.json").read_bytes())
    assert stored.card_number == 1


def test_a_second_card_is_read_after_the_first(card, read, tmp_path):
    card("power", "first", *QUICK)
    photograph_in(tmp_path, "first")
    read("{here}/first.jpg", "--card", "{here}/first", "--wiped")
    card("power", "second", "--speeds", "2500", "3300", "--powers", "50", "70", *QUICK)
    photograph_in(tmp_path, "second")
    both = ["--card", "{here}/first", "--card", "{here}/second"]

    result = read("{here}/second.jpg", *both, "--wiped", "--after", "{here}/first")

    assert result.exit_code == 0
    assert "black begins at" in result.stdout


def test_a_check_strip_is_compared_with_the_card_read_before_it(card, read, tmp_path):
    card("power", "first", *QUICK)
    photograph_in(tmp_path, "first")
    read("{here}/first.jpg", "--card", "{here}/first", "--wiped")
    powers = {patch.power_ratio for patch in read_card_file(tmp_path / "first").patches}
    power = max(powers)
    made = card("check", "strip", "--speed", "1500", "--power", f"{power * 100}")
    photograph_in(tmp_path, "strip")

    told = read("{here}/strip.jpg", "--card", "{here}/strip", "--wiped", "--after", "{here}/first")

    assert "20.0 × 100.0 mm. Etching will take" in made.output
    assert told.exit_code == 0, told.output
    assert "on card 1" in told.output
    assert "fingernail?" in told.output


def test_a_reserve_card_tells_how_much_the_dose_varies_over_the_tile(card, read, tmp_path):
    made = card("reserve", "even", "--speed", "1500", "--power", "60")
    photograph_in(tmp_path, "even")

    told = read("{here}/even.jpg", "--card", "{here}/even", "--wiped")

    assert made.exit_code == 0, made.output
    assert "the reserve measured" in told.output
    assert "Another tile" in told.output


def test_a_strip_that_was_worn_tells_its_loss_and_no_years(card, read, tmp_path):
    card("check", "strip", "--speed", "1500", "--power", "60")
    photograph_in(tmp_path, "strip")
    trial = ("{here}/strip.jpg", "--card", "{here}/strip", "--wiped", "--trial", "thinner")
    too_early = read(*trial)
    read("{here}/strip.jpg", "--card", "{here}/strip", "--wiped")
    kept = (tmp_path / "strip" / "reading.json").read_bytes()

    told = read(*trial, "--cycles", "5")

    assert "no reading" in too_early.output
    assert "After 5 cycles of thinner: no loss that a photo shows" in told.output
    assert "how many years they stand for is not known" in told.output
    assert (tmp_path / "strip" / "reading.json").read_bytes() == kept


def test_marks_by_hand_overrule_the_camera(card, read, tmp_path):
    card("power", "first", *QUICK)
    photograph_in(tmp_path, "first")
    photo = ["{here}/first.jpg", "--card", "{here}/first", "--wiped"]
    first = read(*photo).stdout.split("Patch ")[1][:2]

    result = read(*photo, "--mark", f"{first}=rubs off")

    assert f"Patch {first}" not in result.stdout
    assert "Patch " in result.stdout


def test_a_card_can_be_read_by_hand_alone(card, read):
    card("power", "first", *QUICK)

    result = read("--card", "{here}/first", "--mark", "C3=good", "--mark", "B2=good")

    assert result.exit_code == 0
    assert "Patch C3" in result.stdout
    assert "by hand" in result.stdout


def test_the_person_is_asked_whether_it_was_wiped(card, read, tmp_path):
    card("power", "first", *QUICK)
    photograph_in(tmp_path, "first")

    no = read("{here}/first.jpg", "--card", "{here}/first", answer="n\n")
    yes = read("{here}/first.jpg", "--card", "{here}/first", answer="y\n")

    assert (no.exit_code, yes.exit_code) == (1, 0)
    assert "wipe it first" in no.stderr


def test_a_tone_card_tells_how_much_dots_spread(card, read, tmp_path):
    card("tone", "greys", "--speed", "3000", "--power", "57", "--steps", "10")
    photograph_in(tmp_path, "greys", "stubborn")

    result = read("{here}/greys.jpg", "--card", "{here}/greys", "--wiped")

    assert result.exit_code == 0
    assert "points of what it should. Black reflects" in result.stdout


def test_a_register_card_is_read_by_camera_or_by_eye(card, read, tmp_path):
    card("register", "rows", "--speed", "3000")
    photograph_in(tmp_path, "rows", lag_s=0.0005, slack_mm=0.07)

    by_camera = read("{here}/rows.jpg", "--card", "{here}/rows", "--wiped")
    by_eye = read("--card", "{here}/rows", "--meets", "3000=7", "--meets", "1500=6")

    assert "slack_mm = 0.07" in by_camera.stdout or "slack_mm = 0.06" in by_camera.stdout
    assert "is_measured = true" in by_eye.stdout


def test_a_photo_of_a_focus_card_says_how_to_set_the_laser(card, read, tmp_path):
    laid_out = card("focus", "wedge", "--wedge", "0", "15", "100", "--bed-place", "front left")
    assert "Etching will take" in laid_out.stdout
    burnt = read_card_file(tmp_path / "wedge")
    beam = Beam(across_at_mm=6.0, along_at_mm=6.0, m_squared=12)
    tile = etch_focus(burnt, SURFACES["willing"], beam)
    (tmp_path / "wedge.jpg").write_bytes(photograph(tile, Shot(tilt_degrees=15)).getvalue())
    asked = ["{here}/wedge.jpg", "--card", "{here}/wedge", "--wiped"]

    as_told, turned = read(*asked), read(*asked, "--other-way-round")

    assert "lower the laser by 6.0 mm" in as_told.stdout
    assert "at the bed’s front left" in as_told.stdout
    assert "not finer than 0.0" in as_told.stdout
    assert "lower the laser by 9.0 mm" in turned.stdout


def test_a_photo_of_a_spacing_card_names_the_coarsest_lines_that_close(card, read, tmp_path):
    card("spacing", "lines", "--speed", "3000", "--power", "55")
    tile = black_lines(read_card_file(tmp_path / "lines"), 0.13)
    (tmp_path / "lines.jpg").write_bytes(photograph(tile, Shot(tilt_degrees=15)).getvalue())

    told = read("{here}/lines.jpg", "--card", "{here}/lines", "--wiped")

    assert "Lines 0.125 mm apart still close" in told.stdout
    assert "0.15 mm apart no longer do" in told.stdout


def test_lines_lie_no_closer_than_a_spot_that_was_measured_but_on_the_cards_that_look_into_it(
    card, tmp_path
):
    head = own_laser(tmp_path, spot_y_mm=0.13)
    settings = ("--head", head, "--speed", "2000", "--power", "80")

    assert card("tone", "t", *settings).exit_code == 0
    assert read_card_file(tmp_path / "t").spacing_mm == 0.13
    refused = card("tone", "finer", *settings, "--spacing", "0.1")
    assert "measured spot" in refused.stderr
    assert card("spacing", "s", *settings, "--spacing", "0.1").exit_code == 0
    focus = card("focus", "f", *settings, "--spacing", "0.1", "--wedge", "0", "15", "150")
    assert focus.exit_code == 0, focus.output


def own_laser(tmp_path, **changes):
    head = tmp_path / "own.toml"
    table = {**PRACTICE_HEADS["practice-10w"].to_table(), "name": "own", **changes}
    plain = {name: value for name, value in table.items() if isinstance(value, (str, int, float))}
    head.write_text("\n".join(f"{name} = {json.dumps(value)}" for name, value in plain.items()))
    return str(head)


def test_a_focus_card_of_a_laser_without_a_recipe_has_guessed_speeds(card, tmp_path):
    head = own_laser(tmp_path)

    result = card("focus", "f", "--head", head, "--wedge", "0", "12", "150")

    assert result.exit_code == 0, result.output
    assert "a guess" in result.stderr


def test_a_focus_card_without_a_recipe_takes_speed_and_power_together(card, tmp_path):
    said = ("--head", own_laser(tmp_path), "--wedge", "0", "12", "150", "--speed", "1500")

    half = card("focus", "half", *said)
    whole = card("focus", "whole", *said, "--power", "45")

    assert "--speed and --power" in half.stderr
    assert whole.exit_code == 0, whole.output
    assert read_card_file(tmp_path / "whole").recipe.power_ratio == 0.45


@pytest.mark.parametrize(("answer", "is_made"), [("n\n", False), ("y\n", True)])
def test_a_card_of_so_much_dose_is_made_only_when_it_is_meant(tmp_path, answer, is_made):
    # 20 W at 500 mm/min and 0.1 mm: 20 * 60 / (500 * 0.1) = 24 J/mm²
    words = f"power -o {tmp_path}/p --speeds 500 2000 --powers 50 100 --steps 2 2"

    asked = CliRunner().invoke(laying_out.command, words.split(), input=answer)

    assert "24 J/mm²" in asked.output
    assert "Is so much meant?" in asked.output
    assert (tmp_path / "p").exists() is is_made


def test_the_unglazed_back_is_refused_with_the_reason(card, tmp_path):
    refused = card("power", "p", *QUICK, "--back")

    assert refused.exit_code == 1
    assert "soaks up the paint" in refused.stderr
    assert not (tmp_path / "p").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["{here}/nosuch.jpg", "--card", "{here}/p", "--wiped"], "no file"),
        (["{here}", "--card", "{here}/p", "--wiped"], "is a folder"),
        (["{here}/p/job.gcode", "--card", "{here}/p", "--wiped"], "is not a JPEG"),
        (["{here}/p/expected.png", "--card", "{here}/nosuch", "--wiped"], "no card can be read"),
        (["--card", "{here}/p"], "neither read by camera nor marked"),
        (["--card", "{here}/p", "--mark", "Q9=good"], "no patch Q9"),
        (["--card", "{here}/p", "--mark", "B2"], "no equals sign"),
        (["--card", "{here}/p", "--mark", "B2=fine"], "is no mark"),
        (["--card", "{here}/p", "--mark", "B2=good", "--after", "{here}"], "read before"),
        (["--card", "{here}/p", "--card", "{here}/r", "--mark", "B2=good"], "which one card"),
        (["--card", "{here}/r"], "by camera only"),
        (["--card", "{here}/r", "--meets", "a=b"], "are numbers"),
        (["--card", "{here}/r", "--meets", "4000=99", "--meets", "2000=1"], "numbered 1 to 17"),
    ],
)
def test_what_cannot_be_read_ends_in_a_sentence(card, read, arguments, words):
    card("power", "p", *QUICK)
    card("register", "r")

    result = read(*arguments)

    assert result.exit_code == 1
    assert words in result.stderr
    assert "Traceback" not in result.stderr
