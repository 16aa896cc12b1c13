"""How long each condition has been as it is, and how much of the starting minute is left."""

import pytest

from etchdaemon.interlocks.inputs import Input
from etchdaemon.interlocks.report import report_of
from support.harnesses.interlock_bench import ANSWERS, DAY, Bench

pytestmark = pytest.mark.slow


def lid_of(bench):
    report = report_of(bench.interlocks, day=DAY, now_s=bench.now_s)
    return next(rule for rule in report.rules if rule.name == "lid closed")


def arming_of(bench):
    return report_of(bench.interlocks, day=DAY, now_s=bench.now_s).arming


def test_how_long_the_lid_has_been_open_is_told_and_starts_anew_when_it_is_shut():
    bench = Bench()
    bench.run(5.0)

    bench.open(Input.LID)
    bench.run(300.0)
    open_lid = lid_of(bench)
    bench.close(Input.LID)
    bench.run(30.0)
    shut_lid = lid_of(bench)

    assert (open_lid.state, open_lid.lasts_s) == ("bad", pytest.approx(300.0, abs=0.2))
    assert shut_lid.state == "good"
    assert 20.0 < shut_lid.lasts_s <= 30.2


def test_the_rest_of_the_starting_minute_is_told_while_armed_and_only_then():
    bench = Bench()
    bench.run(5.0)
    assert arming_of(bench).start_within_s is None

    bench.interlocks.arm(ANSWERS, day=DAY, now_s=bench.now_s)
    bench.run(0.5)
    bench.press_button()
    bench.run(20.0)

    assert arming_of(bench).step == "armed"
    assert arming_of(bench).start_within_s == pytest.approx(40.0, abs=1.0)
