"""What a new laser and surface cost: two tiles of 100 mm, four photos, an hour at 10 W.

The figures are asked for by the people who etch (common practice, no source); lasers and surfaces
are invented, and the times are those of the motion model, as the job's sheet tells them. Until the
register card was read, cards are etched one way only.
"""

from dataclasses import replace

import pytest

from darkroom.camera import Shot, photograph
from darkroom.cards import HEAD, wishes
from darkroom.tile import SURFACES, etch
from etchproof.layout.border import Place
from etchproof.layout.card_order import CardOrder, lay_out
from etchproof.layout.focus_card import WedgeRequest
from etchproof.layout.grid import Grid
from etchproof.layout.job import prepare_card
from etchproof.layout.power_card import WEAK_SIZE, lay_out_power_card
from etchproof.reading.camera import read_card
from etchwire.catalogue.heads import Recipe, Register

pytestmark = pytest.mark.slow

TILE_MM = 100.0
BETWEEN_MM = 1.0
TEN_WATTS = replace(HEAD, rated_optical_w=10.0)
AT_FIRST = replace(TEN_WATTS, register=Register())
USUAL = Recipe(  # for 10 W
    surface="an invented tile", feed_mm_per_min=2400.0, power_ratio=0.9, line_spacing_mm=0.1
)
WEDGE = WedgeRequest(left_mm=0, right_mm=15, length_mm=TILE_MM)

FIRST_TILE = {  # side by side
    "focus": (Place(53.0, TILE_MM), {"wedge": WEDGE}),
    "power": (Place(46.0, TILE_MM), {}),
}
SECOND_TILE = {  # one above the other
    "register": (Place(TILE_MM, 50.5), {"recipe": USUAL}),
    "tone": (Place(TILE_MM, 48.0), {"recipe": USUAL}),
}


def card(kind, place, more, number=1, head=AT_FIRST):
    wanted = wishes(number=number, head=head, place=place)
    return lay_out(CardOrder(kind=kind, wishes=wanted, **more))


@pytest.fixture(scope="module")
def cards():
    return {
        kind: card(kind, place, more, number, TEN_WATTS if kind == "tone" else AT_FIRST)
        for number, (kind, (place, more)) in enumerate((FIRST_TILE | SECOND_TILE).items(), start=1)
    }


def test_four_cards_fit_on_two_tiles(cards):
    assert sum(cards[kind].width_mm for kind in FIRST_TILE) + BETWEEN_MM <= TILE_MM
    assert all(cards[kind].height_mm <= TILE_MM for kind in FIRST_TILE)
    assert sum(cards[kind].height_mm for kind in SECOND_TILE) + BETWEEN_MM <= TILE_MM
    assert all(cards[kind].width_mm <= TILE_MM for kind in SECOND_TILE)


def test_they_are_etched_within_an_hour_at_ten_watts(cards, tmp_path):
    predicted_s = {
        kind: prepare_card(one, folder=tmp_path / kind).predicted_s for kind, one in cards.items()
    }

    assert sum(predicted_s.values()) <= 3600, predicted_s
    assert not cards["register"].head.register.is_measured
    assert cards["tone"].is_both_directions


def test_a_new_can_or_box_costs_a_strip_and_a_quarter_of_an_hour(tmp_path):
    strip = card("check", Place(20.0, TILE_MM), {"recipe": USUAL})

    assert prepare_card(strip, folder=tmp_path / "strip").predicted_s <= 15 * 60


def test_a_laser_of_one_watt_gets_its_first_card_within_an_hour(tmp_path):
    weak = replace(HEAD, rated_optical_w=1.0)

    first = card("power", Place(TILE_MM, TILE_MM), {}, head=weak)

    assert prepare_card(first, folder=tmp_path / "first").predicted_s <= 3600
    assert "a first stage, after which a finer card" in " ".join(first.notes)


def test_the_smallest_card_is_read_as_well_as_any():
    grid = Grid(feeds_mm_per_min=(2500.0, 3500.0, 5000.0, 7000.0), power_ratios=(0.5, 0.7, 1.0))
    small = lay_out_power_card(wishes(number=5), grid, (WEAK_SIZE,))
    tile = etch(small, SURFACES["stubborn"])
    shots = [Shot(tilt_degrees=10, light_ratio=1.4, seed=seed) for seed in (1, 2)]

    reading, _ = read_card([photograph(tile, shot) for shot in shots], [small], is_wiped=True)

    for patch in small.patches:
        read = reading.of(patch.cell, patch.part)
        assert read.reflectance == pytest.approx(tile.truth(patch.area), abs=0.02)
