"""A spare tile remembers which places cards have taken; the next card goes to a free one."""

from itertools import combinations

import pytest

from darkroom.cards import RECIPE, wishes
from etchproof.errors import CardDoesNotFit, NoPlaceLeft, UnfitCard
from etchproof.layout.card_order import CardOrder
from etchproof.layout.job import prepare_card
from etchproof.layout.spare_tile import SpareTile, corner_mm, lay_out_on
from etchwire.catalogue.records import SparePlace


def tile(*used, width_mm=100.0, height_mm=100.0):
    return SpareTile(name="spare A", width_mm=width_mm, height_mm=height_mm, used=used)


def order(kind="check", number=1):
    return CardOrder(kind=kind, wishes=wishes(number=number), recipe=RECIPE)


def taken(left, top, width, height):
    return SparePlace(
        tile="spare A", tile_width_mm=100.0, tile_height_mm=100.0,
        left_mm=left, top_mm=top, width_mm=width, height_mm=height,
    )  # fmt: skip


def overlap(one, other):
    return (
        one.left_mm < other.left_mm + other.width_mm
        and other.left_mm < one.left_mm + one.width_mm
        and one.top_mm < other.top_mm + other.height_mm
        and other.top_mm < one.top_mm + one.height_mm
    )


@pytest.mark.slow
def test_cards_go_to_free_places_until_none_is_left():
    places = []
    for number in range(1, 5):  # of 20 mm, with a millimetre between two
        places.append(lay_out_on(tile(*places), order(number=number))[1])

    with pytest.raises(NoPlaceLeft, match="no place is left on the spare tile spare A"):
        lay_out_on(tile(*places), order(number=5))
    assert not any(overlap(*two) for two in combinations(places, 2))


def test_a_card_leaves_the_largest_places_to_others():
    used = (taken(0, 0, 58, 87),)

    card, place = lay_out_on(tile(*used), order())

    assert (card.width_mm, card.height_mm) == pytest.approx((20, 100))
    assert place.left_mm >= 59
    assert f"{place.left_mm:.0f} mm from the left edge" in card.notes[-1]


@pytest.mark.slow
def test_a_card_that_does_not_fit_whole_gets_as_large_as_the_largest_place_holds():
    used = (taken(0, 0, 30, 100),)
    card, place = lay_out_on(tile(*used), CardOrder(kind="tone", wishes=wishes(), recipe=RECIPE))
    smaller = lay_out_on(
        tile(taken(0, 0, 48, 100)), CardOrder(kind="tone", wishes=wishes(), recipe=RECIPE)
    )[0]

    assert place.left_mm == pytest.approx(31)
    assert card.width_mm <= 69
    assert smaller.width_mm < card.width_mm


@pytest.mark.slow
def test_the_job_burns_where_the_place_is(tmp_path):
    card, place = lay_out_on(tile(taken(0, 0, 58, 87)), order())

    sheet = prepare_card(card, folder=tmp_path / "job", at_mm=corner_mm(place))

    assert sheet.picture.left_mm == pytest.approx(place.left_mm)
    assert sheet.picture.top_mm == pytest.approx(100 - place.top_mm)


def test_every_free_place_lies_on_the_tile_and_on_nothing_taken():
    used = (taken(10, 10, 30, 20), taken(60, 40, 40, 60), taken(0, 80, 20, 20))

    free = tile(*used).free_places()

    assert free
    assert not any(overlap(place, other) for place in free for other in used)
    areas = [place.width_mm * place.height_mm for place in free]
    assert areas == sorted(areas)


@pytest.mark.parametrize("entry", [{"name": ""}, {"width_mm": 0.0}, {"height_mm": -5.0}])
def test_what_is_no_tile_is_refused(entry):
    table = {"name": "A", "width_mm": 100.0, "height_mm": 100.0} | entry

    with pytest.raises(UnfitCard):
        SpareTile.from_table(table)


def test_a_tile_that_is_too_small_for_the_card_says_what_would_fit():
    with pytest.raises(CardDoesNotFit):
        lay_out_on(
            tile(width_mm=30.0, height_mm=30.0),
            CardOrder(kind="register", wishes=wishes(), recipe=RECIPE),
        )
