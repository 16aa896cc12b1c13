"""Painting lots on the page: described, listed, and offered once they are dry."""

import io
import time

import pytest

from darkroom.camera import Shot, photograph
from darkroom.two_tiles import two_tiles
from etchweb.catalogue.lots import dry_lots
from etchwire.catalogue.examples import PRACTICE_SURFACES
from etchwire.catalogue.lots import Lot
from support.fakes.fake_daemon import ETCH

SURFACE = PRACTICE_SURFACES[0].name
TYPED = {
    "name": "lot 9", "surface": SURFACE, "painted_at": "2026-11-24T17:00", "box": "12",
    "tiles": "24", "width_mm": "99,8", "frost_rated": "no", "dry_after_h": "",
}  # fmt: skip


def test_a_lot_is_described(phone, daemon):
    assert phone.press("lots", form=TYPED).status_code == 303

    lot = Lot.from_table(daemon.said["save_lot"]["lot"])
    assert (lot.name, lot.tiles, lot.width_mm, lot.frost_rated) == ("lot 9", 24, 99.8, "no")
    assert lot.dry_after_h == 0.0


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"painted_at": "yesterday"}, "Say when it was painted"),
        ({"painted_at": "0001-01-01T00:00"}, "Painting lots"),
        ({"tiles": "2.5"}, "a whole number"),
        ({"warp_mm": "nan"}, "Warp, mm must be"),
        ({"dry_after_h": "0"}, "more than 0"),
        ({"dry_after_h": "9000"}, "hours until it is dry"),
        ({"name": ""}, "no name of a lot"),
    ],
)
def test_a_lot_that_cannot_be_is_refused_and_what_was_typed_stays(phone, daemon, wrong, words):
    answer = phone.press("lots", form=TYPED | wrong)

    if answer.status_code == 303:  # the first year of all is a moment west of Greenwich
        return
    assert answer.status_code == 422
    assert words in answer.text
    assert 'value="12"' in answer.text
    assert "save_lot" not in daemon.said


def test_what_the_logbook_refuses_is_said(phone, daemon):
    daemon.refuse("The logbook cannot be written.")

    answer = phone.press("lots", form=TYPED)

    assert answer.status_code == 409
    assert "The logbook cannot be written." in answer.text


def test_a_list_says_what_is_dry_and_what_is_assumed(phone):
    page = phone.look("/lots?name=lot 7").text

    assert "Not dry before" in page
    assert "3 tiles etched of 12" in page
    assert "as is common practice" in page
    assert 'value="2026-11-23T' in page


def test_only_what_is_dry_is_offered(app, daemon):
    with app.test_request_context():
        assert dry_lots(SURFACE) == ["lot 7"]
        assert dry_lots("another") == []


def test_an_etch_names_the_lot_of_its_tile(phone, daemon):
    assert "Painting lot" not in phone.look("/logbook/7").text

    daemon.answers["run"] = ETCH | {"lot": "lot 7"}

    assert "<dt>Painting lot</dt><dd>lot 7</dd>" in phone.look("/logbook/7").text


def test_the_surface_keeps_its_lot_when_it_is_described_anew(phone, daemon):
    table = PRACTICE_SURFACES[0].to_table() | {"lot": "lot 7"}
    (entry, *_) = daemon.answers["surfaces"]["surfaces"]
    daemon.answers["surfaces"] = {"surfaces": [entry | {"surface": table}]}

    phone.press("tiles-and-paints", form={"name": SURFACE, "paint": "satin"})

    assert daemon.said["save_surface"]["surface"]["lot"] == "lot 7"


def test_who_may_only_watch_sees_lots_and_changes_none(pair_phone):
    watching = pair_phone("watch", time.time())

    assert watching.look("/lots").status_code == 200
    assert "Describe a lot" not in watching.look("/lots").text
    assert watching.press("lots", form=TYPED).status_code == 403


@pytest.mark.slow
def test_two_tiles_of_a_photo_are_compared_by_a_child_process(phone, tmp_path):
    both = photograph(two_tiles(94, 91), Shot(fill=1.28, light_ratio=1.5))

    answer = phone.press("lots/compare", form={"photo": (both, "both.jpg")})
    refused = phone.press("lots/compare", form={"photo": (io.BytesIO(b"no photo"), "x.jpg")})
    nothing = phone.press("lots/compare", form={"photo": (io.BytesIO(b""), "")})

    assert "The right tile is darker by" in answer.text
    assert (answer.status_code, refused.status_code, nothing.status_code) == (200, 422, 422)
    assert list((tmp_path / "pictures").iterdir()) == []
