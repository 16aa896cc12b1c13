"""Whoever has an answer and then looks sees what came of it: no look shows the time before."""

import numpy as np
import pytest


def answered_when_shown(rig, command, shows, **arguments):
    """Ask, and return whether there was an answer when the first such snapshot was shown."""
    found = []
    request = rig.submit(command, **arguments)

    def look():
        if not found and shows(rig.commands.snapshot()):
            found.append(request.is_answered)

    rig.commands.call_on_change(look)
    rig.wait_until(lambda: request.is_answered)
    return found


def test_who_was_told_that_a_job_was_put_away_never_sees_it_any_more(rig):
    rig.set_origin()
    rig.load()

    assert answered_when_shown(rig, "unload", lambda shown: shown.job is None) == [False]


def test_who_was_told_that_the_origin_is_set_sees_it(rig):
    rig.get_ready()

    assert answered_when_shown(rig, "set_origin", lambda shown: shown.machine.origin.is_known) == [
        False
    ]


@pytest.mark.parametrize(("command", "percent"), [("set_feed", 73), ("set_power", 120)])
def test_who_was_told_of_a_new_speed_or_power_sees_it_at_once(rig, command, percent):
    rig.start(rig.make_job(np.ones((12, 400), dtype=bool)))
    rig.etch_until_row(1)

    rig.ask(command, percent=percent)

    assert getattr(rig.run, command.replace("set_", "") + "_percent") == percent
