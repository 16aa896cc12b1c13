"""Two hundred kills: `pytest -m measure tests/measure/kills_test.py -s` prints how they went."""

import time

import pytest

from kills import KilledHousehold

pytestmark = pytest.mark.measure


def test_two_hundred_kills_lose_nothing(tmp_path):
    household = KilledHousehold(tmp_path, 200)
    began_s = time.monotonic()
    try:
        for _ in range(200):
            household.round()
    finally:
        household.end()
    took_s = time.monotonic() - began_s
    print(f"\n200 kills, {household.etching_at_the_kill} of them while etching, {took_s:.0f} s;")
    print("every recorded row, event and end was there afterwards, and the database sound")
