"""What reading a card costs and how true it is; `pytest -m measure -s` prints it."""

import json
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from darkroom.camera import LARGE, Shot, photograph
from darkroom.cards import HEAD, first_grid, power_card, register_card, tone_card, wishes
from darkroom.practice import burn_on_practice
from darkroom.tile import SURFACES, etch, etch_hairlines
from etchpractice.tile.surface import surfaces
from etchproof.choosing.choice import choose
from etchproof.choosing.second_card import SECOND_STEPS
from etchproof.errors import PhotoRefused
from etchproof.layout.grid import Grid
from etchproof.layout.power_card import lay_out_power_card
from etchproof.layout.register_card import lay_out_register_card
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.model.register_reading import register_by_camera
from etchproof.model.tone_reading import read_tone
from etchproof.reading.camera import read_card
from etchwire.catalogue.heads import Recipe, Register

pytestmark = pytest.mark.measure

TWELVE_MEGAPIXELS = Shot(
    width_px=4000, height_px=3000, tilt_degrees=35.0, light_ratio=2.0, distortion=0.01
)

# In a process of its own, as the page's child will be. The peak is that of its own memory map:
# getrusage would begin with the peak of the process that started it.
CHILD = """
import json, sys, time
begin = time.perf_counter()
from pathlib import Path
from etchproof.reading.camera import read_card
from etchproof.layout.job import read_card_file
from etchproof.reading.overlay import draw_overlay
card = read_card_file(Path(sys.argv[2]))
loaded = time.perf_counter()
_, ones = read_card([Path(sys.argv[1])], [card], is_wiped=True)
read = time.perf_counter()
draw_overlay(ones[0]).save(sys.argv[3])
drawn = time.perf_counter()
status = Path('/proc/self/status').read_text()
peak = int(status.split('VmHWM:')[1].split()[0]) / 1024
print(json.dumps([loaded - begin, read - loaded, drawn - read, peak]))
"""


@pytest.mark.parametrize("kind", ["power", "tone", "register"])
def test_what_a_photo_of_twelve_megapixels_costs(kind, tmp_path):
    card = {"power": power_card, "tone": tone_card, "register": register_card}[kind]()
    tile = etch(card, SURFACES["willing"])
    (tmp_path / "photo.jpg").write_bytes(photograph(tile, TWELVE_MEGAPIXELS).getvalue())
    (tmp_path / "card.json").write_text(card.to_json())

    print(
        f"\n{kind + ' card, 12 megapixels':<36} {'load s':>7} {'read s':>7} {'draw s':>7} {'MB':>6}"
    )
    for attempt in range(3):
        printed = subprocess.run(
            [sys.executable, "-c", CHILD, tmp_path / "photo.jpg", tmp_path / "card.json",
             tmp_path / "overlay.png"],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        load, read, draw, peak = json.loads(printed)
        print(
            f"{'attempt ' + str(attempt + 1):<36} {load:7.2f} {read:7.2f} {draw:7.2f} {peak:6.0f}"
        )


def test_how_true_readings_are_on_forty_chance_photos():
    chance = np.random.default_rng(11)
    off, found = [], 0
    for number in range(40):
        name = list(SURFACES)[number % len(SURFACES)]
        tile = etch(power_card(), SURFACES[name])
        shot = replace(
            LARGE,
            tilt_degrees=chance.uniform(0, 35),
            towards_degrees=chance.uniform(0, 360),
            turn_degrees=chance.uniform(0, 360),
            light_ratio=chance.uniform(1, 2),
            light_from_degrees=chance.uniform(0, 360),
            blur_px=chance.uniform(0.5, 1.5),
            exposure_ev=chance.uniform(-0.5, 0.5),
            distortion=chance.uniform(-0.015, 0.015),
            seed=number,
        )
        try:
            reading, (one,) = read_card([photograph(tile, shot)], [tile.card], is_wiped=True)
        except PhotoRefused as refused:
            print(f"refused: {refused} ({shot})")
            continue
        found += len(one.at.found.markers) == 4
        off += [
            reading.of(p.cell, p.part).reflectance - tile.truth(p.area) for p in tile.card.patches
        ]
    print(
        f"\n40 photos: all markers found in {found}; reflectance off by "
        f"{np.sqrt(np.mean(np.square(off))):.4f} RMS, {np.abs(off).max():.4f} at most"
    )


@pytest.mark.parametrize("lag_s", [0.0, 0.0004, 0.0012])
@pytest.mark.parametrize("slack_mm", [0.0, 0.06, 0.15])
def test_how_true_the_register_is(lag_s, slack_mm):
    card = register_card()
    tile = etch_hairlines(card, SURFACES["willing"], lag_s=lag_s, slack_mm=slack_mm)
    found = register_by_camera(
        read_card([photograph(tile, TWELVE_MEGAPIXELS)], [card], is_wiped=True)[0]
    )
    true = Register(beam_lag_s=lag_s, slack_mm=slack_mm)
    lead = found.register.lead_mm(3000) - true.lead_mm(3000)
    print(
        f"\nlag {lag_s * 1000:.1f} ms, slack {slack_mm:.2f} mm: lead off by {lead:+.4f} mm, "
        f"slack by {found.register.slack_mm - slack_mm:+.4f} mm"
    )


@pytest.mark.parametrize("watts", [20.0, 10.0, 5.0])
@pytest.mark.parametrize("surface", sorted(surfaces()))
def test_what_the_practice_machine_s_surfaces_lead_to(surface, watts, tmp_path):
    head = replace(HEAD, rated_optical_w=watts)

    def read(card):
        tile = burn_on_practice(card, surface, tmp_path / f"card-{card.number}")
        shot = replace(LARGE, tilt_degrees=25, light_ratio=2.0, distortion=0.01, seed=card.number)
        return read_card([photograph(tile, shot)], [card], is_wiped=True)[0]

    grid, outcomes = first_grid(head), []
    for number in (1, 2):
        card = lay_out_power_card(wishes(number=number, head=head), grid)
        outcomes.append(choose(card, read(card), {}, earlier=outcomes))
        grid = Grid.over(outcomes[-1].next_range, *SECOND_STEPS)
    choice = outcomes[-1].choice
    if choice is None:
        print(f"\n{surface}, {watts:g} W: {outcomes[-1].sentences}")
        return
    recipe = Recipe(
        surface=surface,
        feed_mm_per_min=choice.feed_mm_per_min,
        power_ratio=choice.power_ratio,
        line_spacing_mm=0.1,
    )
    greys = lay_out_tone_card(wishes(number=3, head=head), recipe)
    tone = read_tone(greys, read(greys))
    hairlines = lay_out_register_card(wishes(number=4, head=head), recipe)
    register = register_by_camera(read(hairlines)).register
    lead = register.lead_mm(choice.feed_mm_per_min) - head.register.lead_mm(choice.feed_mm_per_min)
    print(
        f"\n{surface:<12} {watts:4g} W: {choice.feed_mm_per_min:5.0f} mm/min at "
        f"{choice.power_ratio * 100:4.1f} % ({choice.reserve.share * 100:.0f} % in reserve), "
        f"L* {choice.lightness:4.1f}, TVI {tone.tvi_percent:+5.1f}, lead off by {lead:+.4f} mm"
    )
