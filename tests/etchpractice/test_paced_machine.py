"""A machine that runs too fast beside a host that is late: both times are moved by hand."""

import pytest

from etchpractice.machine import PracticeMachine
from etchpractice.paced_machine import PacedMachine

PAUSE_S = 0.001
RUN = [b"G1X3S0F4000\n", *[b"X.1S600\n", b"X.1S0\n"] * 500, b"G4P0.01\n"]
WINDOW_BYTES = 127


class LateHost:
    """Counts characters; asks for a report at once, and looks and sends lines `late_s` later."""

    def __init__(self, lines, late_s):
        self._late_s = late_s
        self._waiting = list(reversed(lines))
        self._in_flight = []
        self._unread = b""
        self._unseen = self.replies = 0
        self.next_s = 0.0

    def hear(self, data):
        *lines, self._unread = (self._unread + data).split(b"\n")
        told = sum(line.startswith(b"ok") for line in lines)
        self._unseen += told
        self.replies += told

    def say(self):
        del self._in_flight[: self._unseen]
        self._unseen = 0
        said = b""
        while self._waiting and sum(self._in_flight) + len(self._waiting[-1]) <= WINDOW_BYTES:
            self._in_flight.append(len(self._waiting[-1]))
            said += self._waiting.pop()
        self.next_s += self._late_s
        return said + b"?"


def seconds_taken(*, speedup, late_s):
    """Return the simulated seconds of RUN."""
    machine = PracticeMachine()
    paced, host = PacedMachine(machine, speedup), LateHost(RUN, late_s)
    machine.advance(0.1)
    machine.read()
    machine.write(b"G21G91M4\n")
    machine.advance(0.1)
    machine.read()
    from_s, wall_s = machine.now_s, 0.0
    while host.replies < len(RUN):
        wall_s = min(wall_s + (paced.patience_left_s(wall_s) or PAUSE_S), host.next_s)
        if wall_s >= host.next_s:
            said = host.say()
            machine.write(said)
            paced.note_received(said)
        paced.advance(wall_s)
        if told := machine.read():
            host.hear(told)
            paced.note_sent(wall_s, told)
    return machine.now_s - from_s


@pytest.mark.slow
@pytest.mark.parametrize("late_s", [0.004, 0.02, 0.2])
@pytest.mark.parametrize("speedup", [20, 1000])
def test_a_host_that_is_late_does_not_starve_a_machine_that_runs_too_fast(speedup, late_s):
    """Single tenths go by at 2265 mm/min, by a cycle-accurate run of the firmware image: 2.65 s
    for 100 mm, and 0.13 s for run-up, braking and dwell."""
    assert seconds_taken(speedup=speedup, late_s=late_s) == pytest.approx(2.78, abs=0.05)


def test_a_host_that_is_later_than_the_machine_s_patience_starves_it():
    assert seconds_taken(speedup=20, late_s=0.3) > 10


def test_a_machine_for_which_no_time_has_passed_has_not_greeted_yet():
    """Who opens the port in that moment resets it, and would take the greeting for that reset's."""
    machine = PracticeMachine()
    PacedMachine(machine, 20).advance(0.0)

    machine.open_port(boot_s=0.5)
    machine.advance(1.0)

    assert machine.read().count(b"Grbl") == 1
