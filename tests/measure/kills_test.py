"""Daemons killed by the score: `pytest -m measure tests/measure/kills_test.py -s` tells of it."""

import time

import pytest

from kills import KilledHousehold

pytestmark = pytest.mark.measure


@pytest.mark.parametrize("kills", [20, 200])
def test_kills_lose_nothing(tmp_path, kills):
    household = KilledHousehold(tmp_path, kills)
    began_s = time.monotonic()
    try:
        for _ in range(kills):
            household.round()
    finally:
        household.end()
    took_s = time.monotonic() - began_s
    print(
        f"\n{kills} kills, {household.etching_at_the_kill} of them while etching, {took_s:.0f} s;"
    )
    print("every recorded row, event and end was there afterwards, and the database sound")
