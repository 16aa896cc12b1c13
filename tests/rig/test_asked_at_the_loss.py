"""The cable is pulled in the very moment in which people ask for something."""

import pytest

from etchdaemon.errors import CommandRefused


def _ready(rig):
    rig.set_origin()
    rig.load()


def test_who_asks_in_the_same_moment_is_answered_although_the_port_was_lost_before(rig):
    _ready(rig)
    rig.machine.unplug()
    requests = [rig.submit("start"), rig.submit("unload"), rig.submit("wiring")]

    rig.step()

    assert [request.is_answered for request in requests] == [True] * 3
    assert rig.state == "idle"


@pytest.mark.parametrize("wish", ["start", "set_origin"])
def test_a_wish_that_finds_the_cable_pulled_is_refused_and_the_daemon_lives_on(rig, wish):
    _ready(rig)
    rig.machine.unplug()
    asked = rig.submit(wish)

    rig.step(3)

    with pytest.raises(CommandRefused, match="is gone"):
        asked.answer(0)
    assert rig.link == "lost"


def test_a_chore_that_was_done_is_answered_although_the_cable_is_pulled_right_after(rig):
    _ready(rig)
    asked = rig.submit("set_origin")
    for _ in range(50):
        rig.service.step()
        rig.port.is_blocked = b"G10" in rig.port.written[-40:]  # what follows it cannot be written
        rig.machine.advance(0.004)

    assert asked.is_answered
    assert rig.link == "lost"


def test_after_that_it_starts_once_the_cable_is_back(rig):
    _ready(rig)
    rig.machine.unplug()
    rig.submit("start")
    rig.step(3)
    rig.machine.plug_in()
    rig.set_origin()

    rig.ask("start")

    assert rig.state == "etching"
