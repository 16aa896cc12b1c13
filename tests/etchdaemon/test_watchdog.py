"""The service manager's watchdog goes hungry as soon as the loop or the guard gets nothing done."""

from etchdaemon.hardware.watchdog import FEED_EVERY_S, Watchdog


def test_it_is_fed_once_a_second_while_the_guard_looks():
    said = []
    watchdog = Watchdog(said.append)
    for turn in range(1000):
        watchdog.feed(100 + turn * FEED_EVERY_S / 100, looks=turn + 1)

    assert said == ["WATCHDOG=1"] * 10


def test_a_guard_that_no_longer_looks_starves_it_however_the_loop_turns():
    said = []
    watchdog = Watchdog(said.append)
    watchdog.feed(100.0, looks=7)
    for second in range(60):
        watchdog.feed(101.0 + second, looks=7)

    assert said == ["WATCHDOG=1"]


def test_before_the_first_look_it_is_not_fed():
    said = []
    Watchdog(said.append).feed(100.0, looks=0)

    assert said == []
