"""A board that stalls for less than the interlocks allow: nobody looks, the machine goes on."""

import pytest

from rig.bench import patch
from rig.guarded import GuardedRig

STALL_S = 0.236  # and with the steps on either side 0.24 to 0.25 s, after which a reading is stale


@pytest.fixture
def rig(tmp_path):
    with GuardedRig(tmp_path) as made:
        yield made


def test_eight_stalls_of_a_quarter_of_a_second_end_no_etch(rig):
    rig.get_ready()
    rig.start(rig.make_job(patch(12, 200)))
    for row in range(1, 9):
        rig.etch_until_row(row)
        rig.wait(0.1)
        rig.machine.advance(STALL_S)

    rig.wait_for_the_end()

    assert rig.run["ended"] == "complete", rig.record.end
    assert rig.tripped == []
    assert [row.row for row in rig.record.rows] == list(range(12))
    assert rig.record.event("starved")["details"]["cause"] == "computer"


def test_a_stall_that_is_longer_ends_it(rig):
    rig.get_ready()
    rig.start(rig.make_job(patch(12, 200)))
    rig.etch_until_row(3)

    rig.machine.advance(0.3)
    rig.wait_for_the_end()

    assert rig.run["ended"] == "stopped"
