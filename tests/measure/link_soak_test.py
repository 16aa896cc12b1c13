"""Fifty faults in a row on one daemon: `pytest -m measure tests/measure/link_soak_test.py -s`.

Drawn at random from the fault table by a seed (ETCHWARDEN_SEED), at random moments, on both
firmwares in turn, in simulated time. Each must end as the table says; then the next one runs.
"""

import os
import random
from collections import Counter

import pytest

from etchpractice.machine import PracticeMachine
from rig.bench import Rig, patch

pytestmark = pytest.mark.measure

FAULTS = 50
SEED = int(os.environ.get("ETCHWARDEN_SEED", "1"))

# What is done, and what a person then does so that the machine can be used again.
DISTURBANCES = {
    "unplugged": (lambda rig: rig.machine.unplug(), lambda rig: rig.machine.plug_in()),
    "restarted": (lambda rig: rig.machine.reset_now(), None),
    "brown-out": (lambda rig: rig.machine.brown_out(), None),
    "silent": (lambda rig: rig.machine.fall_silent(), lambda rig: rig.machine.speak_again()),
    "hung": (lambda rig: rig.machine.hang(), lambda rig: rig.machine.reset_now()),
    "lost reply": (lambda rig: rig.machine.lose_next_reply(), None),
    "no replies": (
        lambda rig: rig.machine.withhold_replies(),
        lambda rig: rig.machine.release_replies(),
    ),
    "extra reply": (lambda rig: rig.machine.extra_reply(), None),
    "error": (lambda rig: rig.machine.refuse_next_line(20), None),
    "alarm": (lambda rig: rig.machine.trip_alarm(1), None),
    "door": (
        lambda rig: rig.machine.open_door_pin(),
        lambda rig: rig.machine.close_door_pin(),
    ),
    "garbled reply": (lambda rig: rig.machine.garble_next_reply(), None),
    "noise": (lambda rig: rig.machine.send_noise(1000), None),
    "late": (
        lambda rig: rig.machine.delay_replies(5.0),
        lambda rig: rig.machine.delay_replies(0.0),
    ),
    "blocked": (
        lambda rig: setattr(rig.port, "is_blocked", True),
        lambda rig: setattr(rig.port, "is_blocked", False),
    ),
    "stopped": (lambda rig: rig.ask("stop"), None),
    "held and stopped": (lambda rig: (rig.ask("hold_now"), rig.wait(1.0), rig.ask("stop")), None),
}


def _make_usable(rig):
    rig.wait_until(lambda: rig.link in ("ready", "refused"), within_s=30.0)
    if "unlock" in rig.wishes.snapshot()["may"]:
        rig.ask("unlock")
    rig.wait_until(lambda: rig.link == "ready", within_s=30.0)
    rig.ask("set_origin")
    rig.wait_until(lambda: "start" in rig.wishes.snapshot()["may"])


@pytest.mark.parametrize("firmware", ["8-bit", "32-bit"])
def test_fifty_faults_each_end_as_the_table_says(tmp_path, firmware):
    draw = random.Random(SEED)
    told = Counter()
    with Rig(tmp_path, PracticeMachine(firmware=firmware)) as rig:
        rig.get_ready()
        rig.load(rig.make_job(patch(14, 200)))
        for number in range(FAULTS):
            _make_usable(rig)
            rig.ask("start")
            rig.wait(draw.uniform(0.05, 5.0))
            name = draw.choice(list(DISTURBANCES))
            disturb, mend = DISTURBANCES[name]
            disturb(rig)
            rig.wait_for_the_end(within_s=60.0)
            told[name, rig.run["ended"]] += 1
            assert rig.run["ended"] == ("stopped" if "stopped" in name else "failed"), (
                number,
                name,
            )
            assert not rig.contact.is_closed
            assert not rig.machine.is_burning
            rows = [row.row for row in rig.record.rows]
            assert rows == list(range(len(rows)))
            if mend is not None:
                mend(rig)
        _make_usable(rig)
        rig.ask("start")
        rig.wait_for_the_end()
        assert rig.run["ended"] == "complete"
        hours = rig.machine.now_s / 60
    print(f"\n{firmware}, seed {SEED}: {FAULTS} faults in {hours:.0f} minutes of machine time")
    for (name, ended), times in sorted(told.items()):
        print(f"  {name:<20} {ended:<8} {times:>3}")
