"""Those who watch are told the newest, and never faster than they may be."""

import threading

import pytest

from etchdaemon.rpc.subscribers import LEAST_S, Subscribers
from etchwire.transport.framing import decode

LONG_S = 20.0


class Watcher:
    def __init__(self):
        self.is_gone = False
        self.seen = []
        self.was_told = threading.Event()

    def push(self, line):
        self.seen.append(decode(line)["params"]["sequence"])
        self.was_told.set()


class Wait:
    """Stands for the time between two pushes; ends when the test says so."""

    def __init__(self):
        self.asked_s = []
        self.has_begun = threading.Semaphore(0)
        self.may_end = threading.Semaphore(0)

    def __call__(self, seconds):
        self.asked_s.append(seconds)
        self.has_begun.release()
        assert self.may_end.acquire(timeout=LONG_S)

    def begun(self):
        assert self.has_begun.acquire(timeout=LONG_S)

    def end(self):
        self.may_end.release()


class Machine:
    def __init__(self):
        self.sequence = 0

    def snapshot(self):
        return {"sequence": self.sequence}


@pytest.fixture
def machine():
    return Machine()


@pytest.fixture
def wait():
    return Wait()


@pytest.fixture
def subscribers(machine, wait):
    subscribers = Subscribers(machine.snapshot, pause=wait)
    subscribers.start()
    yield subscribers
    for _ in range(10):
        wait.end()
    subscribers.stop()


def change(machine, subscribers, sequence):
    machine.sequence = sequence
    subscribers.note_change()


def test_of_many_changes_within_a_pause_only_the_newest_is_told(machine, subscribers, wait):
    watcher = Watcher()
    subscribers.add(watcher)
    change(machine, subscribers, 1)
    wait.begun()
    for sequence in range(2, 100):
        change(machine, subscribers, sequence)
    wait.end()
    wait.begun()

    assert watcher.seen == [1, 99]
    assert wait.asked_s == [LEAST_S, LEAST_S]
    assert LEAST_S >= 1 / 4  # four a second


def test_all_who_watch_are_told_and_those_gone_are_forgotten(machine, subscribers, wait):
    watchers = [Watcher(), Watcher()]
    for watcher in watchers:
        subscribers.add(watcher)
    change(machine, subscribers, 1)
    wait.begun()
    watchers[0].is_gone = True
    change(machine, subscribers, 2)
    wait.end()
    wait.begun()

    assert [watcher.seen for watcher in watchers] == [[1], [1, 2]]


def test_a_snapshot_that_cannot_be_sent_ends_nothing(machine, subscribers, wait):
    watcher = Watcher()
    subscribers.add(watcher)
    change(machine, subscribers, float("nan"))
    wait.begun()
    change(machine, subscribers, 2)
    wait.end()
    wait.begun()

    assert watcher.seen == [2]


def test_a_quiet_machine_is_told_of_again_so_that_it_differs_from_a_dead_daemon(machine, wait):
    watcher, subscribers = Watcher(), Subscribers(machine.snapshot, pause=wait, most_s=0.001)
    subscribers.add(watcher)
    subscribers.start()

    wait.begun()
    wait.end()
    wait.begun()

    assert watcher.seen == [0, 0]
    for _ in range(10):
        wait.end()
    subscribers.stop()
