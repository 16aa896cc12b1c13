"""Real photographs, all the way: photo, dots, G-code, daemon, practice machine, wiped tile.

The photographs ship inside scikit-image and scikit-learn (their licences are stated there).
"""

from dataclasses import replace

import numpy as np
import pytest

from etchwire.catalogue.heads import Register
from etchwire.sheet import read_sheet
from rig.etched import HEAD, RECIPE, grown, photo_etched, seen_from_afar
from support.samples.photo_files import HORSE, PHOTOGRAPHS

pytestmark = pytest.mark.slow

WIDTH_MM = 24.0
PHOTOS = {name: path for name, path, _ in PHOTOGRAPHS} | {"horse": HORSE}
WITH_WHITE = ("astronaut", "china", "horse")  # they hold white wider than three dots
CELL_MM = 0.025  # of the practice tile
REACH_MM = 1.0


@pytest.fixture(params=PHOTOS, scope="module")
def etched(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp(request.param)
    with photo_etched(PHOTOS[request.param], folder, width_mm=WIDTH_MM) as etched:
        yield etched


def test_a_photograph_is_etched_to_its_end_and_every_row_is_in_the_record(etched):
    assert etched.run.ended == "complete", etched.run.because
    assert [row.row for row in etched.record.rows] == [entry.row for entry in etched.sheet.index]


def test_the_tiles_lightness_follows_the_promise(etched):
    """Dots burn wider than their place and meet their neighbours: dot gain.

    It depends on how the dots lie as well as on how many there are: among places of equal
    coverage the etched coverage scatters by 0.03, while these pictures' own coverage scatters by
    0.13 at the least (both measured here). That leaves a correlation of about
    sqrt(1 - (0.03 / 0.13)²) = 0.97. Gain is largest in the middle tones, so it takes from the
    slope of a dark picture and adds to that of a light one.
    """
    from scipy.stats import spearmanr  # noqa: PLC0415  slow to load

    promised = etched.lightness(seen_from_afar(etched.promised)).ravel()
    seen = etched.lightness(seen_from_afar(etched.coverage())).ravel()

    slope, _ = np.polyfit(promised, seen, 1)

    assert spearmanr(promised, seen).statistic > 0.95
    assert 0.8 < slope < 1.25


def test_no_place_is_darker_than_dots_grown_by_one_or_lighter_than_the_dots_themselves(etched):
    """Spot and heat reach less than a dot's width (0.1 mm) beyond a dot's edge: never further.

    At the other end a dot alone loses its corners, where a spread of 0.042 mm (spot 0.08 mm,
    heat 0.035 mm) leaves less than the threshold: a few hundredths of coverage.
    """
    fired = seen_from_afar(etched.coverage())

    assert (fired < seen_from_afar(grown(etched.promised)) + 0.001).all()
    assert (fired > seen_from_afar(etched.promised) - 0.05).all()


def test_every_dot_promised_is_dark_on_the_tile(etched):
    """The middle of a dot that stands alone feels 0.73 of what a solid patch feels: 0.1 mm of
    light, spread by 0.042 mm both ways. At 12 W that is 1.3 J/mm², where 1.05 saturates.
    """
    fired = etched.tile.surface.fired_reflectance

    dots = etched.middles()[etched.promised]

    assert dots.mean() < fired + 0.01
    assert dots.max() < fired + 0.1


@pytest.mark.parametrize("etched", WITH_WHITE, indirect=True)
def test_white_wider_than_the_spot_stays_the_tiles_own_white(etched):
    is_white = ~grown(etched.promised)

    white = etched.middles()[is_white]

    assert white.size > 100
    assert white.min() > 0.99 * etched.tile.surface.tile_reflectance


def test_nothing_outside_the_picture_is_burnt_anywhere_on_the_bed(etched):
    lit = np.array(etched.tile.exposure.bounds_mm)

    beyond = (etched.frame() - lit) * (1, 1, -1, -1)

    assert beyond.max() <= CELL_MM  # light is kept by the cell it fell into


def test_paint_beside_the_picture_is_not_even_scorched(etched):
    """Run-ups pass there with the beam off."""
    surface = etched.tile.surface

    paint = etched.tile.reflectance(wiped=False, rectangle=etched.frame(REACH_MM), mm_per_px=0.1)

    width = round(REACH_MM / 0.1) - 1  # spot and heat reach one dot's width
    paint[width:-width, width:-width] = surface.paint_reflectance
    assert paint.min() > 0.99 * surface.paint_reflectance


def bar_edges_mm(rig, sheet):
    """Return left and right edge of a burnt bar in each of its rows, top first."""
    picture = sheet.picture
    frame = picture.left_mm, picture.bottom_mm, picture.right_mm, picture.top_mm
    seen = rig.machine.tile.reflectance(rectangle=frame, mm_per_px=0.01)
    surface = rig.machine.tile.surface
    is_dark = seen < (surface.tile_reflectance + surface.fired_reflectance) / 2
    places = [np.flatnonzero(row) * 0.01 for row in is_dark[5::10] if row.any()]
    return np.array([(place[0], place[-1]) for place in places])


@pytest.mark.parametrize(
    ("register", "apart_mm"),
    [
        (HEAD.register, 0.0),
        # Rows to the right land late by v·lag + slack/2, rows to the left as much the other way.
        (Register(), 2 * HEAD.register.lead_mm(RECIPE.feed_mm_per_min)),
    ],
    ids=["corrected", "as the machine is"],
)
def test_rows_of_both_directions_meet_only_when_the_register_is_corrected(rig, register, apart_mm):
    bits = np.zeros((16, 60), dtype=bool)
    bits[::2, 20:40] = True  # a white row between, so that no edge is blurred by its neighbours
    rig.start(rig.make_job(bits, head=replace(HEAD, register=register)))
    rig.wait_for_the_end()

    sheet = read_sheet(rig.folder / "job-0")
    edges = bar_edges_mm(rig, sheet)

    to_right, to_left = edges[0::2], edges[1::2]
    assert [entry.to_mm > entry.from_mm for entry in sheet.index] == [True, False] * 4
    assert to_right - to_left == pytest.approx(np.full((4, 2), apart_mm), abs=0.02)
