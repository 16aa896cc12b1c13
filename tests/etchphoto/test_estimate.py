"""What goes wrong on a tile, told before. The limits are common practice, no source."""

import io
from dataclasses import replace

import numpy as np
import pytest

from etchpath.writer.dots import Order, write_job
from etchphoto.estimate import dot_findings, grey_findings, speed_findings
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from support.samples.parts_of_dots import half_a_dot_on, in_halves

HEAD = PRACTICE_HEADS["practice-20w"]
RECIPE = PRACTICE_RECIPES["practice-20w"]


def names(found):
    return [finding.name for finding in found]


def dots(share, rows=200, columns=200):
    """Return dots of which `share` are burnt, evenly strewn."""
    return np.random.default_rng(2).uniform(size=(rows, columns)) < share


def sheet_of(bits, **recipe):
    order = Order(title="test", head=HEAD, recipe=replace(RECIPE, **recipe), halftone="jarvis")
    return write_job(bits, io.BytesIO(), order)


def test_a_picture_of_one_mood_is_called_flat():
    flat = np.tile(np.linspace(0.7, 0.85, 100), (100, 1))
    full = np.tile(np.linspace(0, 1, 100), (100, 1))

    assert names(grey_findings(flat)) == ["flat"]
    assert names(grey_findings(full)) == []


@pytest.mark.parametrize("ink", [0.01, 0.2, 0.8])
def test_black_and_white_art_is_advised_to_be_lettering_and_not_more_contrast(ink):
    art = np.zeros((200, 200))
    art[: int(ink * 200)] = 1
    art[int(ink * 200), :] = 0.5  # an edge that was scanned

    assert names(grey_findings(art)) == ["black-and-white-art"]
    assert names(grey_findings(art, is_lettering=True)) == []


@pytest.mark.parametrize("even", [0.0, 0.5, 1.0])
def test_an_even_picture_is_flat_and_no_drawing(even):
    assert names(grey_findings(np.full((200, 200), even))) == ["flat"]


def test_a_dark_background_is_told_before_all_that_is_burnt():
    framed = dots(0.3)
    framed[:20] = framed[-20:] = framed[:, :20] = framed[:, -20:] = True

    assert names(dot_findings(framed)) == ["dark-background"]
    assert names(dot_findings(dots(0.9))) == ["dark-background"]


def test_much_smoke_is_told_where_the_edge_is_light():
    bits = np.ones((200, 200), dtype=bool)
    bits[:16] = bits[-16:] = bits[:, :5] = bits[:, -5:] = False

    assert names(dot_findings(bits)) == ["much-burnt"]
    assert names(dot_findings(dots(0.5))) == []


@pytest.mark.parametrize("share", [0.5, 0.8, 0.9])
def test_dots_given_in_halves_are_told_of_as_whole_dots(share):
    framed = dots(0.3)
    framed[:16] = framed[-16:] = framed[:, :16] = framed[:, -16:] = True

    for bits in (dots(share), framed, dots(share, rows=40, columns=400)):
        assert dot_findings(in_halves(bits)) == dot_findings(bits)
    assert names(dot_findings(half_a_dot_on(dots(share)))) == names(dot_findings(dots(share)))


@pytest.mark.parametrize("size", [(1, 1), (1, 9), (9, 1)])
def test_the_smallest_pictures_have_an_edge_too(size):
    assert names(dot_findings(np.zeros(size, dtype=bool))) == []


def test_detail_too_fine_for_the_speed_is_told():
    chequered = np.indices((40, 400)).sum(axis=0) % 2 == 0  # a dot on, a dot off

    assert names(speed_findings(sheet_of(chequered, feed_mm_per_min=9000.0))) == [
        "slowed-by-detail"
    ]
    assert names(speed_findings(sheet_of(chequered, feed_mm_per_min=1500.0))) == []


def test_rows_without_detail_run_as_fast_as_they_are_told():
    solid = np.ones((40, 400), dtype=bool)

    assert names(speed_findings(sheet_of(solid, feed_mm_per_min=9000.0))) == []
    assert names(speed_findings(sheet_of(solid[:1]))) == []
