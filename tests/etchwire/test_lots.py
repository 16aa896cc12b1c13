"""Painting lots: what they may hold, when they are dry, which may hang side by side."""

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchwire.catalogue.lots import OVERNIGHT_H, Lot, dry_at_utc, is_dry, offered, set_fault
from etchwire.errors import UnreadableSheet

LOT = {
    "name": "lot 7", "surface": "bathroom white", "painted_at_utc": "2026-11-24T17:00:00+00:00",
}  # fmt: skip


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"name": " "}, "no name of a lot"),
        ({"surface": ""}, "no name of a tile and paint"),
        ({"painted_at_utc": "yesterday"}, "is no moment"),
        ({"painted_at_utc": "2026-11-24T17:00:00"}, "is no moment"),
        ({"frost_rated": "perhaps"}, "frost-rated cannot be"),
        ({"tiles": -1}, "the number of tiles must be from 0"),
        ({"warp_mm": 21.0}, "the warp in mm must be from 0 to 20"),
        ({"weight_gained_g": float("inf")}, "weight_gained_g cannot be"),
        ({"dry_after_h": 2401.0}, "hours until it is dry"),
        ({"coats": True}, "coats cannot be"),
        ({"notes": "x" * 1001}, "1000 characters"),
    ],
)
def test_a_lot_that_cannot_be_is_refused(wrong, words):
    with pytest.raises(UnreadableSheet, match=words):
        Lot.from_table(LOT | wrong)


def test_a_lot_comes_back_from_its_table_as_it_was():
    lot = Lot.from_table(LOT | {"width_mm": 99.8, "tolerance_mm": 0.3, "frost_rated": "no"})

    assert Lot.from_table(lot.to_table()) == lot


@given(
    st.datetimes(min_value=datetime(2020, 1, 1), max_value=datetime(2090, 1, 1)),  # noqa: DTZ001
    st.integers(-14, 14),
    st.integers(0, 2400),
)
def test_paint_is_dry_from_its_hour_on_and_not_a_second_before(painted, zone_h, dry_after_h):
    """Python's own calendar says when that is, whatever zone the moment was written in."""
    zone = f"{'-' if zone_h < 0 else '+'}{abs(zone_h):02}:00"
    lot = Lot.from_table(LOT | {"painted_at_utc": painted.isoformat(timespec="seconds") + zone})
    at = datetime.fromisoformat(lot.painted_at_utc) + timedelta(hours=dry_after_h)

    dry_at = dry_at_utc(lot, dry_after_h)

    assert is_dry(dry_at, at.isoformat())
    assert not is_dry(dry_at, (at - timedelta(seconds=1)).isoformat())


def test_what_is_not_dry_is_not_offered():
    dry_at = {"wet": "2026-11-28T12:01:00+00:00", "dry": "2026-11-28T12:00:00+00:00"}

    assert offered(dry_at, "2026-11-28T12:00:00+00:00") == ["dry"]
    assert offered({}, "2026-11-28T12:00:00+00:00") == []


def test_overnight_is_twelve_hours_by_common_practice_without_a_source():
    assert dry_at_utc(Lot(**LOT), OVERNIGHT_H) == "2026-11-25T05:00:00+00:00"


def test_one_set_takes_tiles_of_one_lot():
    assert set_fault([]) is None
    assert set_fault(["lot 7", "lot 7"]) is None
    assert "not from lot 7 and lot 8" in set_fault(["lot 8", "lot 7", "lot 8"])
