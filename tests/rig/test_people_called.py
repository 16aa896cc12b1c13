"""People who do not look at the page: the buzzer in every fault, rounds, looks after the end."""

import re
from dataclasses import replace
from datetime import datetime
from math import inf
from types import SimpleNamespace

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.attendance.attendance_calls import FROM_AFAR
from etchdaemon.interlocks.attendance.watch_rounds import AttendanceRules
from rig.bench import dashes
from rig.guarded import GuardedRig
from rig.memory import RunRecord

pytestmark = pytest.mark.slow

FAULTS = {
    "silence": lambda rig: rig.machine.fall_silent(),
    "hang": lambda rig: rig.machine.hang(),
    "unplugged": lambda rig: rig.machine.unplug(),
    "alarm": lambda rig: rig.machine.trip_alarm(1),
    "brown-out": lambda rig: rig.machine.brown_out(),
    "guard": lambda rig: rig.board.fail_edges(),
}


class RigWithRounds(GuardedRig):
    """Asks for somebody every 3 s, for 1.2 s; and for a look 6 and 12 s after the end."""

    def make_setup(self):
        rules = AttendanceRules(round_every_min=0.05, answer_within_min=0.02, look_every_min=0.1)
        return replace(super().make_setup(), attendance=rules)


class RigAtClosing(GuardedRig):
    """A workshop that closes as the rig's clock begins, but for whoever stays."""

    is_firm = False

    def make_setup(self):
        closes_at = datetime.fromisoformat(self.clock.utc_now()).astimezone().time()
        rules = AttendanceRules(closing_time=closes_at, is_closing_time_firm=self.is_firm)
        return replace(super().make_setup(), attendance=rules)


class RigPastClosing(RigAtClosing):
    """A workshop that closes as the rig's clock begins, whoever stays."""

    is_firm = True


@pytest.fixture
def asking(tmp_path):
    """A rig in mid-row, when a round begins to ask."""
    with RigWithRounds(tmp_path) as rig:
        rig.start(rig.make_job(dashes(60, 400)))
        rig.wait_until(lambda: rig.box.asked_for is not None)
        yield rig


def test_a_held_run_that_would_end_after_closing_time_says_so_while_it_can_be_resumed(tmp_path):
    with RigAtClosing(tmp_path) as rig:
        rig.set_origin()
        rig.load(rig.make_job(dashes(60, 400)))
        rig.arm()
        rig.ask("start", stays_until_end="Ada")
        rig.etch_until_row(3)
        while_etching = rig.run.late_end
        rig.ask("hold")
        rig.wait_until(lambda: rig.state == "held")
        rig.press_button()
        rig.wait(0.5)

        assert while_etching is None
        assert rig.run.late_end
        assert "resume" in rig.commands.snapshot().may


def test_neither_arming_nor_start_is_offered_where_the_closing_time_is_firm(tmp_path):
    with RigPastClosing(tmp_path) as rig:
        rig.set_origin()
        rig.load(rig.make_job(dashes(60, 400)))
        rig.press_button()
        rig.wait_until(lambda: rig.box.arming.is_possible)
        because = rig.commands.snapshot().asked_at_start.too_late

        assert because
        assert not {"arm", "start"} & set(rig.may)
        with pytest.raises(CommandRefused, match=re.escape(because)):
            rig.ask("arm", answers={}, test_heartbeat=False)


def test_it_is_told_before_a_job_is_loaded_that_it_would_end_after_closing_time(tmp_path):
    with RigPastClosing(tmp_path) as rig:
        rig.get_ready()
        asked = rig.ask("confirmations", lasts_s=60.0)

    assert asked["too_late"]


def test_where_no_shop_closes_a_held_run_may_end_whenever_it_does(etching):
    etching.ask("hold")
    etching.wait_until(lambda: etching.state == "held")

    assert etching.run.late_end is None


def seconds_of_buzzer(rig, lasts_s, enough_s=inf):
    """Return for how long it sounded in `lasts_s`, or until it had sounded for `enough_s`."""
    sounded_s = 0.0
    until_s = rig.machine.now_s + lasts_s
    while rig.machine.now_s < until_s and sounded_s <= enough_s:
        before_s = rig.machine.now_s
        rig.doze()
        if rig.board.outputs["buzzer"]:
            sounded_s += rig.machine.now_s - before_s
    return sounded_s


@pytest.mark.fault("controller or guard fails, every page closed")
@pytest.mark.parametrize("fault", FAULTS)
def test_the_buzzer_calls_somebody_in_every_fault_that_ends_an_etch(etching, fault):
    FAULTS[fault](etching)

    sounded_s = seconds_of_buzzer(etching, 12.0, enough_s=3.0)

    assert etching.run.ended in ("failed", "stopped")
    assert sounded_s > 3.0


def test_the_buzzer_is_silent_in_an_etch_that_goes_well_and_after_its_end(tmp_path):
    with GuardedRig(tmp_path) as rig:
        rig.start()
        sounded_s = seconds_of_buzzer(rig, 20.0)

        assert rig.run.ended == "complete"
        assert sounded_s == 0.0


@pytest.mark.fault("watch round that nobody answers")
def test_a_round_that_nobody_answers_holds_at_a_rows_end_and_not_within_a_row(asking):
    asking.wait_until(lambda: asking.state == "held")

    assert "Nobody answered the watch round" in asking.run.held_because
    assert "cut" not in asking.record.kinds()
    sheet = asking.service._idle.job.sheet
    x_mm, _ = asking.shown_position()
    ends_mm = {entry.to_mm for entry in sheet.index}
    assert min(abs(x_mm - end_mm) for end_mm in ends_mm) <= 0.02


@pytest.mark.fault("watch round asks, every page closed")
def test_the_button_answers_a_round_and_the_record_says_so(asking):
    asking.press_button()

    assert asking.box.asked_for is None
    assert asking.state == "etching"
    assert "at the machine" in asking.record.event("round")["text"]


def test_the_page_answers_a_round_and_the_record_says_so(asking):
    assert "answer_round" in asking.may
    asking.ask("answer_round")
    asking.step()

    assert asking.box.asked_for is None
    assert FROM_AFAR in asking.record.event("round")["text"]
    with pytest.raises(CommandRefused, match="Nobody is asked for"):
        asking.ask("answer_round")


@pytest.mark.fault("look after the end")
def test_a_look_after_the_end_is_answered_and_stands_in_the_record_of_the_run_that_ended(tmp_path):
    with RigWithRounds(tmp_path) as rig:
        rig.start()
        rig.wait_for_the_end()
        ended_s = rig.run.elapsed_s
        rig.load()  # the next tile lies there already
        rig.wait_until(lambda: rig.box.is_look_asked)
        assert "answer_round" in rig.may
        rig.ask("answer_round")
        rig.wait(0.1)

        event = rig.record.event("look")

        assert FROM_AFAR in event["text"]
        assert event["at_s"] >= ended_s + 6.0
        assert rig.record.end["elapsed_s"] == ended_s


def test_the_press_that_arms_the_next_etch_answers_the_look_of_the_one_before(tmp_path):
    with RigWithRounds(tmp_path) as rig:
        rig.start()
        rig.wait_for_the_end()
        rig.wait_until(lambda: rig.box.is_look_asked)
        rig.start()
        rig.wait(0.1)

        assert [one.kinds().count("look") for one in rig.records.runs] == [1, 0]
        assert "at the machine" in rig.records.runs[0].event("look")["text"]
        assert rig.box.asked_for is None


def ended(rig, at_utc):
    """Return a run of an earlier life of the daemon, which the logbook has."""
    rig.records.runs.append(RunRecord(sheet_json="", notes={}))
    return SimpleNamespace(id=1, ended_at_utc=at_utc, elapsed_s=60.0)


@pytest.mark.fault("look after the end")
@pytest.mark.parametrize(
    "at_utc", ["2026-01-01T00:00:00Z", "2031-01-01T00:00:00Z", None, "2026-01-01"]
)
def test_after_a_daemon_that_died_in_mid_etch_the_next_one_asks_for_the_looks(tmp_path, at_utc):
    with RigWithRounds(tmp_path) as rig:
        rig.get_ready()
        rig.service.recall_end(ended(rig, at_utc))
        rig.wait_until(lambda: rig.box.is_look_asked)
        rig.ask("answer_round")
        rig.wait(0.1)

        assert FROM_AFAR in rig.record.event("look")["text"]
        assert rig.record.event("look")["at_s"] > 60.0


def test_after_a_run_that_ended_long_ago_nobody_is_asked_to_look(tmp_path):
    with RigWithRounds(tmp_path) as rig:
        rig.get_ready()
        rig.service.recall_end(ended(rig, "2025-12-31T23:00:00Z"))
        rig.rest(15.0)

        assert rig.box.asked_for is None
