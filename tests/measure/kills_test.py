"""Daemons killed by the score: `pytest -m measure tests/measure/kills_test.py -s` tells of it."""

import time

import pytest

from support.kills.kills import KilledHousehold

pytestmark = pytest.mark.measure

KILLS = 200


def test_two_hundred_kills_lose_nothing(tmp_path):
    household = KilledHousehold(tmp_path, KILLS, stretched=2.0)
    began_s = time.monotonic()
    try:
        for _ in range(KILLS):
            household.round()
        household.finish()
    finally:
        household.end()
        print(f"\n{household.told()}\nIn {time.monotonic() - began_s:.0f} s.")
