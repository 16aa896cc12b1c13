"""Cards as jobs in folders, and burnt on the practice machine, whose surfaces are none of ours."""

import re
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from darkroom.camera import Shot, photograph
from darkroom.cards import HEAD, RECIPE, first_grid, power_card, register_card, tone_card, wishes
from darkroom.practice import burn_on_practice, burnt_by_practice
from etchpath.writer.dots import Order, write_job
from etchphoto.errors import JobNotWritable, UnfitOrder
from etchphoto.halftone import HALFTONES
from etchphoto.light import lightness, luminance_of_lightness
from etchphoto.tone import BURNT_AS_WANTED, coverage_to_burn
from etchpractice.tile.surface import surface_named
from etchproof.choosing.choice import choose
from etchproof.errors import UnfitCard, UnreadableCard
from etchproof.layout.drawing import draw_card
from etchproof.layout.grid import Grid
from etchproof.layout.job import prepare_card, read_card_file
from etchproof.layout.power_card import lay_out_power_card
from etchproof.layout.register_card import Offsets, lay_out_register_card
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.model.register_reading import register_by_camera
from etchproof.model.tone_reading import read_tone
from etchproof.reading.camera import read_card
from etchwire.catalogue.heads import Recipe, Register
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, read_sheet

pytestmark = pytest.mark.slow

CARDS = {"power": power_card, "tone": tone_card, "register": register_card}


def settings_by_row(gcode):
    """Follow the file: for each height, every (speed, power) that burnt there."""
    found, x, y, s, f = {}, 0.0, 0.0, 0.0, 0.0
    for line in gcode.decode("ascii").splitlines():
        words = dict(
            re.findall(r"([A-Z])([-.\d]+)", line.replace("G90G0", "").replace("G91G1", ""))
        )
        s, f = float(words.get("S", s)), float(words.get("F", f))
        y = float(words.get("Y", y))
        if "G0" in line:
            x = float(words.get("X", x))
        elif "X" in words and s:
            found.setdefault(round(y, 3), []).append((f, s, round(abs(float(words["X"])), 3)))
    return found


@pytest.mark.parametrize("kind", CARDS)
def test_a_card_is_a_job_like_any_other(kind, tmp_path):
    card = CARDS[kind]()

    sheet = prepare_card(card, folder=tmp_path / "card")

    assert read_sheet(tmp_path / "card") == sheet
    assert read_card_file(tmp_path / "card") == card
    assert (sheet.rows, sheet.columns) == draw_card(card).shape
    assert sheet.coverage == pytest.approx(draw_card(card).mean())
    assert sheet.motion.left_mm == 0
    with Image.open(tmp_path / "card" / PICTURE_NAME) as picture:
        assert picture.width / picture.height == pytest.approx(card.columns / card.rows, rel=0.01)


def test_every_patch_is_burnt_at_its_own_speed_and_power(tmp_path):
    card = power_card()
    sheet = prepare_card(card, folder=tmp_path / "card")

    burnt = settings_by_row((tmp_path / "card" / GCODE_NAME).read_bytes())

    height = {entry.row: round(entry.y_mm, 3) for entry in sheet.index}
    for patch in card.patches:
        for row in range(patch.area.top, patch.area.bottom):
            here = [(f, s) for f, s, _ in burnt[height[row]]]
            assert (patch.feed_mm_per_min, round(patch.power_ratio * 1000)) in here
            assert {f for f, _ in here} == {patch.feed_mm_per_min}


def test_the_sheet_s_rows_are_the_rows_of_the_card_from_the_top_down(tmp_path):
    card = power_card()

    sheet = prepare_card(card, folder=tmp_path / "card")

    rows = [entry.row for entry in sheet.index]
    assert rows == np.flatnonzero(draw_card(card).any(axis=1)).tolist()


def test_without_a_measured_register_a_card_is_burnt_one_way(tmp_path):
    head = replace(HEAD, register=Register())
    card = lay_out_power_card(wishes(head=head), first_grid(head, (2, 2)))

    sheet = prepare_card(card, folder=tmp_path / "card")

    assert not sheet.is_both_directions
    assert all(entry.to_mm > entry.from_mm for entry in sheet.index)


def test_a_register_card_burns_its_halves_opposite_ways_and_uncorrected(tmp_path):
    card = register_card()

    sheet = prepare_card(card, folder=tmp_path / "card")

    ways = {entry.row: entry.to_mm > entry.from_mm for entry in sheet.index}
    for pair in card.hairlines:
        assert all(ways[row] for row in range(pair.upper.top, pair.upper.bottom))
        assert not any(ways[row] for row in range(pair.lower.top, pair.lower.bottom))


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"at_mm": (390.0, 0.0)}, UnfitCard, "mm wide with its run-ups"),
        ({"at_mm": (0.0, 350.0)}, UnfitCard, "mm high"),
        ({"at_mm": (float("inf"), 0.0)}, UnfitCard, "cannot be placed"),
    ],
)
def test_a_card_that_the_machine_cannot_reach_leaves_nothing_behind(tmp_path, change, error, words):
    with pytest.raises(error, match=words):
        prepare_card(power_card(), folder=tmp_path / "card", **change)

    assert list(tmp_path.iterdir()) == []


def test_lines_closer_than_the_measured_spot_are_refused(tmp_path):
    card = lay_out_tone_card(wishes(), replace(RECIPE, line_spacing_mm=0.05))

    with pytest.raises(UnfitOrder, match="narrower than this laser's measured spot"):
        prepare_card(card, folder=tmp_path / "card")


def test_a_card_that_is_there_is_kept_unless_it_is_to_be_replaced(tmp_path):
    prepare_card(power_card(), folder=tmp_path / "card")

    with pytest.raises(JobNotWritable, match="already a job"):
        prepare_card(tone_card(), folder=tmp_path / "card")
    prepare_card(tone_card(), folder=tmp_path / "card", is_replacing=True)

    assert read_card_file(tmp_path / "card") == tone_card()


def test_a_folder_without_a_card_is_no_card(tmp_path):
    with pytest.raises(UnreadableCard, match="no card can be read"):
        read_card_file(tmp_path)


# Burnt, wiped, photographed, read: on surfaces that the chooser does not know

LAG_S, SLACK_MM = 0.0007, 0.09
SHOT = Shot(tilt_degrees=25, light_ratio=2.0, distortion=0.01)
BLOCK, MARGIN = 40, 10  # dots: of a grey, and around what of it is looked at


def test_from_a_first_card_to_true_greys_on_the_practice_machine(tmp_path):
    surface, head = "quick-paint", replace(HEAD, register=Register())
    axis = {"beam_lag_s": LAG_S, "slack_mm": SLACK_MM}

    def read(card):
        tile = burn_on_practice(card, surface, tmp_path / f"card-{card.number}", **axis)
        photo = photograph(tile, SHOT)
        return read_card([photo], [card], is_wiped=True)[0]

    first = lay_out_power_card(wishes(number=1, head=head), first_grid(head, (3, 2)))
    outcome = choose(first, read(first), {})
    finer = Grid.over(outcome.next_range, 3, 2)
    second = lay_out_power_card(wishes(number=2, head=head), finer)
    choice = choose(second, read(second), {}, earlier=[outcome]).choice
    recipe = Recipe(
        surface=surface,
        feed_mm_per_min=choice.feed_mm_per_min,
        power_ratio=choice.power_ratio,
        line_spacing_mm=0.1,
    )
    hairlines = lay_out_register_card(wishes(number=3, head=head), recipe, Offsets(pairs=7))
    found = register_by_camera(read(hairlines)).register
    head = replace(head, register=found)
    greys = lay_out_tone_card(wishes(number=4, head=head), recipe, steps=7)
    tone = read_tone(greys, read(greys))

    true = Register(beam_lag_s=LAG_S, slack_mm=SLACK_MM)
    assert choice.lightness < 45
    assert found.lead_mm(choice.feed_mm_per_min) == pytest.approx(
        true.lead_mm(choice.feed_mm_per_min), abs=0.01
    )
    with_curve = ramp_error(head, recipe, tone.curve, tone.black, axis)
    assert with_curve < 2.5
    assert with_curve * 3 < ramp_error(head, recipe, BURNT_AS_WANTED, tone.black, axis)


def ramp_error(head, recipe, curve, black, axis):
    """Etch 21 greys evenly spaced in lightness and return how far off they come out, RMS in L*."""
    luminance = luminance_of_lightness(np.linspace(0, 100, 21))
    steps = np.repeat(np.repeat(luminance.reshape(3, 7), BLOCK, axis=0), BLOCK, axis=1)
    bits = HALFTONES["jarvis"](coverage_to_burn(steps.astype(np.float32), curve=curve))
    gcode, sheet = written(bits, head, recipe)
    place = sheet.picture
    tile = burnt_by_practice(gcode, head, recipe.surface, **axis).tile.reflectance(
        mm_per_px=0.1, rectangle=(place.left_mm, place.bottom_mm, place.right_mm, place.top_mm)
    )
    shown = tile / surface_named(recipe.surface).tile_reflectance
    inner = slice(MARGIN, BLOCK - MARGIN)
    blocks = shown.reshape(3, BLOCK, 7, BLOCK)[:, inner, :, inner].mean(axis=(1, 3)).ravel()
    promised = black + luminance * (1 - black)
    return float(np.sqrt(np.mean((lightness(blocks) - lightness(promised)) ** 2)))


def written(bits, head, recipe):
    file = BytesIO()
    sheet = write_job(bits, file, Order(title="ramp", head=head, recipe=recipe, halftone="jarvis"))
    return file.getvalue(), sheet
