"""The guard comes late, as on an overloaded board, or not at all: what the loop makes of it."""

import pytest

from etchdaemon.errors import GuardHangs
from etchdaemon.guard.lock import HANGS
from etchdaemon.guard.operator_api import MOST_MISSED
from rig.bench import patch
from rig.guarded import GuardedRig
from support.harnesses.interlock_bench import DAY


@pytest.fixture
def rig(tmp_path):
    with GuardedRig(tmp_path) as rig:
        yield rig


def hang(rig, steps):
    """Let the loop go on while the looking thread holds the guard's lock."""
    with rig.guard.lock.looking():
        for _ in range(steps):
            rig.machine.advance(0.3)  # so that there is something new to show each time
            rig.service.step()


def test_a_guard_that_is_late_while_nothing_is_etched_ends_no_daemon(rig):
    rig.get_ready()

    hang(rig, 2)
    rig.wait(1)

    assert rig.commands.snapshot().state == "idle"
    assert rig.box.phase == "idle"


@pytest.mark.slow
def test_a_guard_that_is_late_in_an_etch_cuts_it_short_and_the_end_is_written(rig):
    rig.start(rig.make_job(patch(10, 200)))
    rig.etch_until_row(2)

    hang(rig, 2)
    rig.wait_until(lambda: rig.run.ended is not None)

    assert (rig.run.ended, rig.run.because) == ("stopped", HANGS)
    assert not rig.is_beam_enabled


def test_a_guard_that_never_comes_back_ends_the_daemon(rig):
    with rig.guard.lock.looking():
        for _ in range(MOST_MISSED):
            rig.guard.operator.report(day=DAY)
        with pytest.raises(GuardHangs, match="does not answer"):
            rig.guard.operator.report(day=DAY)
