"""How near hidden waists are found from one photo each of a focus card.

`pytest -m measure tests/measure/focus_read_test.py -s`. Beams, surfaces and photos are invented.
"""

from dataclasses import replace

import numpy as np
import pytest

from darkroom.camera import LARGE, photograph
from darkroom.cards import RECIPE, wishes
from darkroom.focus import Beam, etch_focus
from darkroom.tile import SURFACES
from etchproof.errors import EtchproofError
from etchproof.layout.focus_card import WedgeRequest, lay_out_focus_card
from etchproof.model.focus_reading import HALF_HEIGHT, read_focus
from etchproof.reading.camera import read_card

pytestmark = pytest.mark.measure

CASES = 30
POWERS = {"willing": 0.55, "stubborn": 0.9, "tender": 0.45}  # each blackens its surface
WEDGES = ((0.0, 15.0), (15.0, 0.0))


def test_hidden_waists_are_found_from_one_photo_each():
    hidden = np.random.default_rng(29)
    best, spots, refused = [], [], []
    for case in range(CASES):
        card = card_of(list(POWERS)[case % 3], WEDGES[case % 2])
        beam = beam_of(hidden)
        tile = etch_focus(card, SURFACES[list(POWERS)[case % 3]], beam)
        try:
            reading = read_card([photograph(tile, shot_of(hidden, case))], [card], is_wiped=True)[0]
            found = read_focus(card, reading)
        except EtchproofError as error:
            refused.append(str(error))
            continue
        best.append((found.best_mm - best_of(beam), found.doubt_mm))
        for waist, sigma in (
            (found.across, beam.sigma_across_mm), (found.along, beam.sigma_along_mm)
        ):  # fmt: skip
            spots.append((waist.spot_mm - HALF_HEIGHT * sigma, waist.spot_doubt_mm))
    for what, off in (("best focus", np.array(best)), ("spot", np.array(spots))):
        error, doubt = off.T
        held = float((np.abs(error) <= doubt).mean())
        print(
            f"\n{what}: {np.sqrt((error**2).mean()):.4f} mm RMS, {np.abs(error).max():.4f} at "
            f"most, {held * 100:.0f} % within give or take, of {len(error)}"
        )
    print(f"refused: {len(refused)} of {CASES} {refused[:3]}")
    assert len(best) >= 0.8 * CASES


def card_of(surface, wedge):
    left, right = wedge
    recipe = replace(RECIPE, power_ratio=POWERS[surface])
    asked = WedgeRequest(left_mm=left, right_mm=right, length_mm=100)
    return lay_out_focus_card(wishes(number=11), recipe, asked)


def beam_of(hidden):
    at_mm = hidden.uniform(5, 10)
    return Beam(
        sigma_across_mm=hidden.uniform(0.028, 0.05),
        sigma_along_mm=hidden.uniform(0.028, 0.05),
        across_at_mm=at_mm,
        along_at_mm=at_mm + hidden.uniform(-0.4, 0.4),
        m_squared=hidden.uniform(7, 25),
    )


def best_of(beam):
    reach = np.array([beam.reach_mm(beam.sigma_across_mm), beam.reach_mm(beam.sigma_along_mm)])
    return float(np.average([beam.across_at_mm, beam.along_at_mm], weights=1 / reach**2))


def shot_of(hidden, seed):
    return replace(
        LARGE,
        tilt_degrees=hidden.uniform(0, 22),
        towards_degrees=hidden.uniform(0, 360),
        turn_degrees=hidden.choice([0, 90, 180, 270]),
        light_ratio=hidden.uniform(1, 2),
        distortion=hidden.uniform(-0.005, 0.01),
        noise_codes=3,
        seed=seed,
    )
