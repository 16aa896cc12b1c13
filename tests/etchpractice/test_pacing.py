"""Simulated time and the wall's: as fast as told, but never ahead of a host that is at work."""

import pytest

from etchpractice.pacing import Pacing

OK = b"ok\r\n"
REPORT = b"<Run|MPos:1.000,0.000,0.000|FS:3175,476>\r\n"


def test_at_one_time_is_the_wall_s():
    pacing = Pacing(1)
    pacing.due_s(10.0, has_work=True)

    assert pacing.due_s(10.004, has_work=True) == pytest.approx(0.004)


@pytest.mark.parametrize("has_work", [True, False])
def test_up_to_twenty_time_is_a_multiple_of_the_wall_s(has_work):
    pacing = Pacing(20)
    pacing.due_s(10.0, has_work=has_work)

    assert pacing.due_s(10.001, has_work=has_work) == pytest.approx(0.020)


def test_beyond_twenty_time_goes_as_it_can_while_there_is_work():
    pacing = Pacing(1000)
    pacing.due_s(10.0, has_work=True)

    assert pacing.due_s(10.0, has_work=True) > 0.05
    assert pacing.due_s(10.001, has_work=False) == pytest.approx(0.020)


def test_what_a_stopped_process_missed_is_not_made_up():
    pacing = Pacing(1)
    pacing.due_s(10.0, has_work=True)

    assert pacing.due_s(15.0, has_work=True) < 0.05


def test_at_one_nobody_is_waited_for():
    pacing = Pacing(1)
    pacing.note_sent(10.0, OK)

    assert pacing.patience_left_s(10.0, is_working=True) == 0


def test_a_host_that_was_given_room_is_waited_for_while_the_machine_works():
    pacing = Pacing(20)
    pacing.note_sent(10.0, OK)

    assert pacing.patience_left_s(10.1, is_working=True) > 0
    pacing.note_received(brings_lines=True)

    assert pacing.patience_left_s(10.1, is_working=True) == 0


@pytest.mark.parametrize(("said", "is_working"), [(REPORT, True), (b"", True), (OK, False)])
def test_otherwise_the_host_gets_some_milliseconds(said, is_working):
    pacing = Pacing(20)
    pacing.note_sent(10.0, said)

    assert pacing.patience_left_s(10.001, is_working=is_working) > 0
    assert pacing.patience_left_s(10.004, is_working=is_working) == 0


@pytest.mark.parametrize("said", [OK, b"error:1\r\n", b"ok\r\n" + REPORT])
def test_a_reply_makes_room_once_it_is_whole_however_it_is_cut(said):
    for cut in range(1, said.index(b"\n") + 1):
        pacing = Pacing(20)

        pacing.note_sent(10.0, said[:cut])
        assert pacing.patience_left_s(10.1, is_working=True) == 0
        pacing.note_sent(10.1, said[cut:])

        assert pacing.patience_left_s(10.2, is_working=True) > 0


def test_asking_for_a_report_or_setting_a_lamp_is_no_answer_to_room():
    pacing = Pacing(20)
    pacing.note_sent(10.0, OK)

    pacing.note_received(brings_lines=False)

    assert pacing.patience_left_s(10.1, is_working=True) > 0


def test_asking_for_a_report_is_all_the_answer_that_a_report_gets():
    pacing = Pacing(20)
    pacing.note_sent(10.0, REPORT)

    pacing.note_received(brings_lines=False)

    assert pacing.patience_left_s(10.001, is_working=True) == 0


def test_a_host_that_let_its_time_pass_is_not_waited_for_again_until_it_sends_a_line():
    pacing = Pacing(20)
    pacing.note_sent(10.0, OK)
    assert pacing.patience_left_s(10.3, is_working=True) == 0

    pacing.note_sent(10.3, OK)
    assert pacing.patience_left_s(10.31, is_working=True) == 0
    pacing.note_received(brings_lines=False)
    pacing.note_sent(10.35, OK)
    assert pacing.patience_left_s(10.36, is_working=True) == 0
    pacing.note_received(brings_lines=True)
    pacing.note_sent(10.4, OK)

    assert pacing.patience_left_s(10.41, is_working=True) > 0


def test_the_time_of_waiting_counts_for_nothing():
    pacing = Pacing(20)
    pacing.due_s(10.0, has_work=True)
    pacing.stand_still(10.015)

    assert pacing.due_s(10.016, has_work=True) == pytest.approx(0.020)
