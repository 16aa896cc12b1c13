"""Fault after fault on one daemon, drawn by a seed: each ends as the table says, then the next."""

import random
from collections import Counter
from math import inf

from rig.bench import Rig, patch
from rig.disturbances import DISTURBANCES, Disturbance, make_usable

STOPS = {
    "stopped": lambda rig: rig.ask("stop"),
    "held and stopped": lambda rig: (rig.ask("hold_now"), rig.wait(1.0), rig.ask("stop")),
}


def soak(rig: Rig, *, seed: int, faults: int, within_s: float = inf) -> Counter:
    """Disturb run after run, `faults` times or as long as simulated time allows.

    Return how often each thing was done, and check that the last run is left to its end.
    """
    draw, done = random.Random(seed), Counter()
    rig.get_ready()
    rig.load(rig.make_job(patch(14, 200)))
    until_s = rig.machine.now_s + within_s
    while done.total() < faults and rig.machine.now_s < until_s:
        make_usable(rig)
        rig.ask("start")
        rig.wait(draw.uniform(0.05, 5.0))
        what = draw.choice([*DISTURBANCES, *STOPS])
        if isinstance(what, Disturbance):
            _disturb(rig, what)
            done[what.name] += 1
        else:
            STOPS[what](rig)
            rig.wait_for_the_end()
            assert rig.run.ended == "stopped", what
            done[what] += 1
        _assert_it_is_dark_and_in_order(rig)
    make_usable(rig)
    rig.ask("start")
    rig.wait_for_the_end()
    assert rig.run.ended == "complete"
    return done


def _disturb(rig, disturbance):
    disturbance.begin(rig)
    rig.wait_for_the_end(within_s=disturbance.seen_within_s + 10.0)
    assert rig.run.ended == "failed", disturbance.name
    if disturbance.mend is not None:
        disturbance.mend(rig)


def _assert_it_is_dark_and_in_order(rig):
    assert not rig.contact.is_closed
    assert not rig.machine.is_burning
    rows = [row.row for row in rig.record.rows]
    assert rows == list(range(len(rows)))
