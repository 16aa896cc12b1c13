"""Nothing is armed or started before the preflight has passed it for the machine as it is set."""

import pytest

from etchdaemon.errors import CommandRefused, JobRefused
from support.harnesses.interlock_bench import ANSWERS


def _shown(rig):
    return rig.commands.snapshot().job.preflight


def _may(rig):
    return rig.commands.snapshot().may


def test_a_job_is_checked_for_the_controller_as_it_is_set(rig):
    rig.get_ready()
    sheet = rig.load()

    described = rig.preflight.machines[-1]
    assert described["max_s"] == sheet.head.max_s
    assert described["planner_blocks"] == 15
    assert described["receive_bytes"] == 128
    assert described["line_limit"] == 79
    assert described["travel_x_mm"] > 0
    assert described["acceleration_y_mm_per_s2"] > 0
    assert _shown(rig).verdict == "ready"


def test_nothing_starts_while_the_job_is_being_checked(rig):
    rig.preflight.is_slow = True
    rig.set_origin()
    rig.load()

    with pytest.raises(CommandRefused, match="is being checked"):
        rig.ask("start")
    assert _shown(rig).verdict == "checking"
    assert "start" not in _may(rig)

    rig.preflight.finish()
    rig.step(3)
    rig.ask("start")
    assert rig.state == "etching"


def test_a_job_loaded_before_the_machine_is_known_is_checked_when_it_is(rig):
    rig.load()
    before = list(rig.preflight.machines)
    rig.get_ready()
    rig.step(3)

    assert before == []
    assert _shown(rig).verdict == "ready"


def test_a_refused_job_is_neither_armed_nor_started_and_says_why(guarded):
    guarded.preflight.find("beam not switched off", "refused")
    guarded.set_origin()
    guarded.load()

    for command, arguments in (
        ("arm", {"answers": ANSWERS, "test_heartbeat": False}),
        ("start", {}),
    ):
        with pytest.raises(
            JobRefused, match=r"Line 3: It holds beam not switched off\. Do without\."
        ):
            guarded.ask(command, **arguments)
    assert "arm" not in guarded.may
    assert _shown(guarded).findings[0].kind == "beam not switched off"


def test_what_has_to_be_read_is_named_before_arming_and_stands_in_the_record(guarded):
    guarded.preflight.find("shifts its origin", "acknowledge")
    guarded.preflight.find("tool word", "note")
    guarded.set_origin()
    guarded.load()
    guarded.wait_until(lambda: "arm" in guarded.may)
    arming = {"answers": ANSWERS, "test_heartbeat": False}

    with pytest.raises(CommandRefused, match="shifts its origin"):
        guarded.ask("arm", **arming)
    with pytest.raises(CommandRefused, match="shifts its origin"):
        guarded.ask("arm", **arming, acknowledge=["tool word"])
    guarded.ask("arm", **arming, acknowledge=["shifts its origin"])
    guarded.press_button()
    guarded.wait_until(lambda: "start" in guarded.may)
    guarded.ask("start")

    noted = guarded.record.notes["preflight"]
    assert noted["verdict"] == "acknowledge"
    assert noted["acknowledged"] == ["shifts its origin"]
    assert noted["kinds"] == ["shifts its origin", "tool word"]


def test_constant_power_starts_only_where_the_heartbeat_was_tested_at_this_arming(guarded):
    guarded.preflight.find("constant power", "acknowledge")
    guarded.set_origin()
    guarded.load()
    guarded.wait_until(lambda: "arm" in guarded.may)
    guarded.ask("arm", answers=ANSWERS, test_heartbeat=False, acknowledge=["constant power"])
    guarded.press_button()
    guarded.wait_until(lambda: "start" in guarded.may)

    with pytest.raises(CommandRefused, match="heartbeat"):
        guarded.ask("start")
    assert guarded.records.runs == []


def test_settings_changed_since_the_check_are_checked_again_before_the_start(rig):
    rig.set_origin()
    rig.load()
    rig.machine.write(b"$110=5000\n")
    rig.machine.advance(0.5)
    rig.machine.read()

    with pytest.raises(CommandRefused, match="settings have changed"):
        rig.ask("start")
    rig.step(3)
    rig.ask("start")

    assert [table["max_feed_x_mm_per_min"] for table in rig.preflight.machines][-1] == 5000
    assert len(rig.preflight.machines) == 2
    assert rig.state == "etching"


def test_a_check_that_fails_lets_nothing_start(rig):
    rig.preflight.failure = JobRefused("The job could not be checked: out of memory.")
    rig.get_ready()
    rig.load()

    with pytest.raises(JobRefused, match="out of memory"):
        rig.ask("start")
    assert _shown(rig).verdict == "failed"


def test_an_acknowledgement_does_not_outlive_its_job(rig):
    rig.preflight.find("shifts its origin", "acknowledge")
    rig.set_origin()
    rig.load()
    rig.ask("start", acknowledge=["shifts its origin"])
    rig.wait_for_the_end()
    rig.load()

    with pytest.raises(CommandRefused, match="shifts its origin"):
        rig.ask("start")
