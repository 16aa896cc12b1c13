"""Seventeen seeded kills, at every kind of moment; tests/measure/kills_test.py has two hundred."""

import pytest

from support.kills.kills import KilledHousehold
from support.kills.moments import DECK

SEED = 19  # which draws each of the victims
VICTIMS = {"daemon", "page", "daemon and page"}
WITH_A_RUN = ("etching", "holding at once")


@pytest.fixture
def household(tmp_path):
    household = KilledHousehold(tmp_path, SEED)
    yield household
    household.end()


def test_seventeen_kills_of_daemon_and_page_lose_nothing(household):
    for _ in DECK:
        household.round()
    household.finish()

    assert household.kills.total() == len(DECK) == 17
    assert {victims for _, victims in household.kills} == VICTIMS


def test_a_machine_that_is_killed_is_missed_and_another_in_its_place_is_used(household):
    for moment in ("checking a job", *WITH_A_RUN, "ready to start"):  # each on the one before
        told = household.machine_round(moment)

        assert "port" in told["machine"]["sentence"]
        if moment in WITH_A_RUN:
            assert told["run"]["ended"] in ("failed", "stopped")
            assert told["run"]["because"]
