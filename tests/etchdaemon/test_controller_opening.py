"""The opening dialogue, step by step, with time as data."""

import pytest

from etchdaemon.controller.codes import (
    ALARMS,
    EIGHT_BIT_ALARMS,
    ERRORS,
    THIRTY_TWO_BIT_ALARMS,
    THIRTY_TWO_BIT_ERRORS,
)
from etchdaemon.controller.controller_command import NO_ANSWER, ControllerCommand
from etchdaemon.controller.events import Greeted, LineAccepted, StatusReported
from etchdaemon.controller.facts import REFUSALS, refusals, warnings
from etchdaemon.controller.firmware import EIGHT_BIT, THIRTY_TWO_BIT
from etchdaemon.controller.lines import dwell_s, is_plain, significant
from etchdaemon.controller.link import Link
from etchdaemon.controller.opening import KEEPS_RESTARTING, From, Opening
from etchdaemon.controller.orders import Order, SendLine
from etchdaemon.controller.realtime import FEED_STEPS, override_steps
from etchdaemon.errors import UnfitLine

GREETING = b"\r\nGrbl 1.1h ['$' for help]\r\n"
IDLE = b"<Idle|MPos:0.000,0.000,0.000|Bf:15,128|FS:0,0|WCO:0.000,0.000,0.000>\r\n"
ANSWERS = {
    b"$I": b"[VER:1.1h.20190830:]\r\n[OPT:V,15,128]\r\nok\r\n",
    b"$$": b"$1=255\r\n$10=3\r\n$13=0\r\n$22=0\r\n$30=1000\r\n$31=0\r\n$32=1\r\n"
    b"$110=10000.000\r\n$120=1000.000\r\n$130=400.000\r\n$131=400.000\r\nok\r\n",
    b"$G": b"[GC:G0 G54 G17 G21 G90 G94 M5 M9 T0 F0 S0]\r\nok\r\n",
    b"$#": b"[G54:1.000,2.000,0.000]\r\n[G92:0.000,0.000,0.000]\r\n[TLO:0.000]\r\nok\r\n",
}


class Dialogue:
    """An Opening and a controller that answers from a table."""

    def __init__(self, start=From.PORT_OPENED, report=IDLE, **answers):
        self.opening = Opening(start)
        self.link = Link()
        self.report = report
        self.answers = ANSWERS | {name.encode(): data for name, data in answers.items()}
        self.now_s = 0.0
        self.asked = []
        self._obey(self.opening.begin(0.0))

    def say(self, data):
        for event in self.link.receive(data):
            self._obey(self.opening.handle_event(event, self.now_s))

    def wait(self, seconds):
        for _ in range(round(seconds / 0.05)):
            self.now_s += 0.05
            self._obey(self.opening.tick(self.now_s))

    def _obey(self, orders):
        for order in orders:
            self.asked.append(order)
            if order is Order.REPORT and self.report:
                self.say(self.report if isinstance(self.report, bytes) else next(self.report))
            if isinstance(order, SendLine):
                self.link.send([order.line])
                self.say(self.answers[order.line])


def _facts(**changes):
    dialogue = Dialogue(**changes)
    dialogue.say(GREETING)
    dialogue.wait(1.0)
    return dialogue.opening.facts


def test_a_greeting_is_waited_for_before_anything_is_sent():
    dialogue = Dialogue()

    dialogue.wait(2.9)

    assert dialogue.asked == []


def test_everything_is_learnt_after_a_greeting():
    facts = _facts()

    assert facts.firmware is EIGHT_BIT
    assert (facts.build.planner_blocks, facts.build.receive_bytes) == (15, 128)
    assert facts.settings.max_s == 1000
    assert facts.origins_mm["G54"] == (1.0, 2.0, 0.0)
    assert refusals(facts) == ()
    assert warnings(facts) == ()


def test_a_controller_that_does_not_greet_is_asked_after_three_seconds_then_reset():
    dialogue = Dialogue()

    dialogue.wait(3.1)

    assert dialogue.asked == [Order.REPORT, Order.DISCARD_OUTPUT, Order.RESET]


def test_a_controller_that_moves_is_held_until_it_rests_before_it_is_reset():
    dialogue = Dialogue(report=b"<Run|MPos:1.000,0.000,0.000|FS:1000,0>\r\n")
    dialogue.wait(3.1)
    assert dialogue.asked[1:3] == [Order.FEED_HOLD, Order.REPORT]
    assert Order.RESET not in dialogue.asked

    dialogue.say(b"<Hold:0|MPos:1.200,0.000,0.000|FS:0,0>\r\n")

    assert dialogue.asked[-1] is Order.RESET


def test_the_reset_is_repeated_once_and_then_given_up():
    dialogue = Dialogue(report=None)

    dialogue.wait(20.0)

    assert dialogue.asked.count(Order.RESET) == 2
    assert dialogue.opening.is_over
    assert "Nothing answers" in dialogue.opening.failure


def test_a_controller_that_restarts_again_and_again_is_given_up():
    dialogue = Dialogue()

    for _ in range(9):
        dialogue.say(GREETING)

    assert dialogue.opening.failure == KEEPS_RESTARTING


def test_a_greeting_amid_the_questions_begins_them_anew():
    dialogue = Dialogue(**{"$G": GREETING})
    dialogue.say(GREETING)
    dialogue.wait(0.3)
    assert not dialogue.opening.is_over
    dialogue.answers = ANSWERS

    dialogue.wait(0.5)

    assert dialogue.opening.facts.parser is not None


def test_nothing_is_asked_for_two_and_a_half_seconds_after_a_greeting_nobody_asked_for():
    dialogue = Dialogue(start=From.UNASKED_GREETING)

    dialogue.wait(2.4)

    assert dialogue.asked == []


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"$$": ANSWERS[b"$$"].replace(b"$32=1", b"$32=0")}, "not in laser mode"),
        ({"$$": ANSWERS[b"$$"].replace(b"$32=1", b"$32=2")}, "not in laser mode"),
        ({"$$": ANSWERS[b"$$"].replace(b"$32=1\r\n", b"")}, "not in laser mode"),
        ({"$$": ANSWERS[b"$$"].replace(b"$13=0", b"$13=1")}, "reports in inches"),
        ({"$$": ANSWERS[b"$$"].replace(b"$30=1000\r\n", b"")}, "max S unknown"),
        ({"$G": ANSWERS[b"$G"].replace(b"M5", b"M4")}, "beam on"),
        ({"$G": b"ok\r\n"}, "beam on"),
        ({"$I": b"ok\r\n"}, "buffer unknown"),
        ({"report": IDLE.replace(b"Idle", b"Alarm")}, "alarm at power-up"),
        ({"report": IDLE.replace(b"Idle", b"Door:1")}, "door open"),
    ],
)
def test_a_controller_is_refused_for_one_reason_by_name(changes, name):
    facts = _facts(**changes)

    assert [rule.name for rule in REFUSALS if rule.holds(facts)] == [name]
    assert len(refusals(facts)) == 1


def test_an_unknown_firmware_is_refused_without_a_question():
    dialogue = Dialogue()
    dialogue.say(b"Grbl 0.9j ['$' for help]\r\n")
    dialogue.wait(1.0)

    assert not any(isinstance(order, SendLine) for order in dialogue.asked)
    assert "firmware" in refusals(dialogue.opening.facts)[0]


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [(b"$1=255", b"$1=25", "slip between rows"), (b"$10=3", b"$10=1", "how full its planner")],
)
def test_what_may_do_but_should_be_known_is_a_warning(old, new, word):
    facts = _facts(**{"$$": ANSWERS[b"$$"].replace(old, new)})

    assert refusals(facts) == ()
    assert word in warnings(facts)[0]


def test_both_tables_of_errors_and_alarms_are_complete():
    """Numbers as the firmwares' own lists have them: host builds, 1.1h and the 32-bit 1.1f."""
    assert set(ERRORS) == set(range(1, 18)) | set(range(20, 39))
    assert set(ALARMS | EIGHT_BIT_ALARMS) == set(range(1, 11))
    assert set(ALARMS | THIRTY_TWO_BIT_ALARMS) == set(range(1, 23))
    assert {18, 19, 39, 58, 79, 89, 253} <= set(THIRTY_TWO_BIT_ERRORS)


def test_every_trouble_says_what_it_means_and_what_to_do_in_sentences():
    troubles = [
        *ERRORS.values(),
        *THIRTY_TWO_BIT_ERRORS.values(),
        *ALARMS.values(),
        *EIGHT_BIT_ALARMS.values(),
        *THIRTY_TWO_BIT_ALARMS.values(),
    ]

    assert all(
        trouble.meaning.endswith(".") and trouble.remedy.endswith(".") for trouble in troubles
    )


def test_alarm_ten_means_different_things_to_the_two_firmwares():
    assert "switch" in EIGHT_BIT.alarm(10).meaning
    assert "stop circuit" in THIRTY_TWO_BIT.alarm(10).meaning


@pytest.mark.parametrize("firmware", [EIGHT_BIT, THIRTY_TWO_BIT])
def test_an_unknown_number_is_an_error_all_the_same(firmware):
    assert "200" in str(firmware.error(200))
    assert "99" in str(firmware.alarm(99))


@pytest.mark.parametrize(
    ("line", "sent"),
    [
        (b"G1 X1 (a comment)F4000", b"G1X1F4000"),
        (b"G1X1;to the end", b"G1X1"),
        (b"(only a remark!)", b""),
        (b"; what?", b""),
        (b"G1X1\r", b"G1X1"),
        (b"(never closed G1X1", b""),
    ],
)
def test_comments_and_blanks_never_reach_the_controller(line, sent):
    assert significant(line) == sent


@pytest.mark.parametrize(
    "byte", [b"!", b"?", b"~", b"\x18", b"\x85", b"\xc3\xa9", b"/", b"%", b"\0"]
)
def test_a_byte_that_the_controller_would_obey_or_misread_is_never_sent(byte):
    assert not is_plain(b"G1X1" + byte)
    with pytest.raises(UnfitLine):
        significant(b"G1X1" + byte)


@pytest.mark.parametrize(
    ("now", "wanted", "tens", "ones"), [(100, 120, 2, 0), (100, 97, 0, 3), (90, 113, 2, 3)]
)
def test_an_override_takes_the_fewest_bytes(now, wanted, tens, ones):
    steps = override_steps(now_percent=now, requested_percent=wanted, steps=FEED_STEPS)
    sign = 1 if wanted > now else -1

    assert steps == [FEED_STEPS[10 * sign]] * tens + [FEED_STEPS[sign]] * ones


def test_an_override_stays_within_what_the_firmware_allows():
    steps = override_steps(now_percent=190, requested_percent=500, steps=FEED_STEPS)

    assert steps == [FEED_STEPS[10]]


def test_a_chore_is_done_when_its_line_is_answered():
    chore = ControllerCommand((b"$X",), EIGHT_BIT, 3.0)
    assert chore.begin(0.0) == (SendLine(b"$X"),)

    chore.handle_event(LineAccepted(), 0.1)

    assert chore.is_over
    assert chore.failure is None


def test_a_chore_that_is_not_answered_fails_with_a_sentence():
    chore = ControllerCommand((b"$H",), EIGHT_BIT, 3.0)
    chore.begin(0.0)
    chore.handle_event(StatusReported(state="Home"), 1.0)
    chore.tick(2.9)
    assert not chore.is_over

    chore.tick(3.0)

    assert chore.failure == NO_ANSWER


def test_a_chore_amid_which_the_controller_restarts_fails():
    chore = ControllerCommand((b"$H",), EIGHT_BIT, 3.0)
    chore.begin(0.0)

    chore.handle_event(Greeted(EIGHT_BIT, ""), 1.0)

    assert "restarted" in chore.failure


@pytest.mark.parametrize(
    ("line", "seconds"),
    [(b"G4P2.5\n", 2.5), (b"G04P.5\n", 0.5), (b"G40P3\n", 0.0), (b"X1S600\n", 0.0), (b"G4\n", 0.0)],
)
def test_a_dwell_says_how_long_it_lasts(line, seconds):
    assert dwell_s(line) == seconds


def test_a_second_report_is_asked_for_where_the_first_brings_no_work_offset():
    """So does the 32-bit firmware after each start (recorded)."""
    first = b"<Idle|MPos:0.000,0.000,0.000|FS:0,0|Ov:100,100,100|A:|H:0|TLR:0>\r\n"
    second = b"<Idle|MPos:0.000,0.000,0.000|FS:0,0|WCO:1.000,2.000,0.000>\r\n"

    facts = _facts(report=iter((first, second)))

    assert facts.report.work_mm == (-1.0, -2.0, 0.0)
