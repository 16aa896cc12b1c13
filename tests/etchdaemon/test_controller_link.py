"""Bytes from the controller to events, lines to bytes, and the window between them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchdaemon.controller.codes import RESTARTING_ALARMS
from etchdaemon.controller.events import (
    LONGEST_LINE_BYTES,
    AlarmRaised,
    BuildReported,
    CountContradicted,
    Greeted,
    LineAccepted,
    LineRefused,
    MessagePushed,
    OffsetReported,
    ParserStateReported,
    PushReceived,
    SettingReported,
    StatusReported,
    StrayReplyReceived,
    Unreadable,
    VersionReported,
)
from etchdaemon.controller.firmware import EIGHT_BIT, THIRTY_TWO_BIT
from etchdaemon.controller.link import Link
from etchdaemon.controller.parsing import parse_line
from etchdaemon.controller.window import MOST_BYTES, ReceiveWindow
from etchdaemon.errors import UnexpectedReply, UnfitLine

# Lines as host builds of both firmwares write them; the protocol is the firmware's own.
LINES = [
    (b"ok", LineAccepted()),
    (b"error:20", LineRefused(20, "")),
    (b"ALARM:3", AlarmRaised(3)),
    (b"Grbl 1.1h ['$' for help]", Greeted(EIGHT_BIT, "Grbl 1.1h ['$' for help]")),
    (
        b"GrblHAL 1.1f ['$' or '$HELP' for help]",
        Greeted(THIRTY_TWO_BIT, "GrblHAL 1.1f ['$' or '$HELP' for help]"),
    ),
    (b"Grbl 0.9j ['$' for help]", Greeted(None, "Grbl 0.9j ['$' for help]")),
    (b"[MSG:'$H'|'$X' to unlock]", MessagePushed("'$H'|'$X' to unlock")),
    (b"[MSG:]", MessagePushed("")),
    (b"[VER:1.1h.20190830:]", VersionReported("1.1h.20190830:")),
    (b"[OPT:V,15,128]", BuildReported("V", 15, 128)),
    (b"[OPT:VNML+,100,1024,3,0]", BuildReported("VNML+", 100, 1024)),
    (b"[GC:G0 G54 G17 G21 G90 G94 M5 F0 S0]", ParserStateReported(
        ("G0", "G54", "G17", "G21", "G90", "G94", "M5", "F0", "S0"))),
    (b"[G54:0.000,-1.500,0.000]", OffsetReported("G54", (0.0, -1.5, 0.0))),
    (b"[TLO:0.000]", OffsetReported("TLO", (0.0,))),
    (b"[TLO:0.000,0.000,0.000]", OffsetReported("TLO", (0.0, 0.0, 0.0))),
    (b"$30=1000", SettingReported(30, "1000")),
    (b"$110=10000.000 (x max rate)", SettingReported(110, "10000.000")),
    (b"$N0=", PushReceived("$N0=")),
    (b">G21:ok", PushReceived(">G21:ok")),
    (b">:error:20", PushReceived(">:error:20")),
    (
        b"<Idle|MPos:0.000,0.000,0.000|Bf:15,128|FS:0,0|WCO:0.000,0.000,0.000>",
        StatusReported(
            state="Idle",
            machine_mm=(0.0, 0.0, 0.0),
            work_mm=(0.0, 0.0, 0.0),
            offset_mm=(0.0, 0.0, 0.0),
            planner_free_blocks=15,
            receive_free_bytes=128,
            feed_mm_per_min=0.0,
            power_setting=0.0,
        ),
    ),
    (
        b"<Hold:1|MPos:1.000,2.000,0.000|FS:0,600|Ov:110,100,90|Pn:D|A:C|WCS:G54|Xy:what>",
        StatusReported(
            state="Hold",
            substate=1,
            machine_mm=(1.0, 2.0, 0.0),
            feed_mm_per_min=0.0,
            power_setting=600.0,
            overrides_percent=(110, 100, 90),
            pins="D",
        ),
    ),
]  # fmt: skip

NONSENSE = [
    b"okay", b"error:", b"error:abc", b"<Idle|MPos:nan,0,0>", b"<Idle|MPos:1e3,0,0>", b"<Busy>",
    b"<Idle|Bf:15>", b"<Idle|Bf:15,-1>", b"<Idle", b"\xff\xfeok", b"[OPT:V,many,128]", b"$GPGGA,1",
    b"<>", b"[", b"<Idle|MPos:1.0>", b"<Idle|MPos:" + b"9" * 400 + b",0,0>",
    b"<Idle|FS:" + b"9" * 40 + b".5,0>", b"<Idle|Bf:15," + b"9" * 11 + b">",
    b"[OPT:V," + b"9" * 400 + b",128]",
]  # fmt: skip


@pytest.mark.parametrize(("line", "event"), LINES, ids=lambda value: str(value)[:30])
def test_every_line_of_the_protocol_is_understood(line, event):
    link = Link()
    if isinstance(event, (LineAccepted, LineRefused)):
        link.send([b"G0X1"])
        expected = LineRefused(event.code, "G0X1") if isinstance(event, LineRefused) else event
    else:
        expected = event

    assert link.receive(line + b"\r\n") == [expected]


@pytest.mark.parametrize("line", NONSENSE)
def test_what_is_no_line_of_the_protocol_is_unreadable(line):
    assert parse_line(line) == Unreadable(line)


@pytest.mark.parametrize("cut", range(1, 40))
def test_every_way_of_cutting_the_bytes_gives_the_same_events(cut):
    data = b"\r\n" + b"\r\n".join(line for line, _ in LINES) + b"\r\n"
    whole, pieces = Link(), Link()

    in_pieces = [
        event for at in range(0, len(data), cut) for event in pieces.receive(data[at : at + cut])
    ]

    assert in_pieces == whole.receive(data)


@given(st.lists(st.binary(max_size=700), max_size=8))
def test_any_bytes_in_any_cut_give_events_and_the_same_events(pieces):
    cut, whole = Link(), Link()

    events = [event for piece in pieces for event in cut.receive(piece)]

    assert events == whole.receive(b"".join(pieces))


@given(st.binary(min_size=4 * LONGEST_LINE_BYTES, max_size=5 * LONGEST_LINE_BYTES))
def test_a_device_that_never_ends_a_line_does_not_fill_memory(data):
    link = Link()

    events = link.receive(data.replace(b"\n", b"."))

    assert [len(event.data) for event in events] == [LONGEST_LINE_BYTES]
    assert len(link._unread) < LONGEST_LINE_BYTES


@pytest.mark.parametrize("cut", [1, 100, 512, 4096, 20_000])
def test_a_reply_line_of_20_kb_is_one_damaged_reply_and_its_end_answers_nothing(cut):
    link = Link()
    link.send([b"G1X1"])
    data = b"<Idle|" + b"a" * 20_000 + b"|" + b"ok\r" * 171 + b"\nok\r\n"

    events = [e for at in range(0, len(data), cut) for e in link.receive(data[at : at + cut])]

    damaged, answer = events
    assert (damaged.may_be_a_reply, answer) == (True, LineAccepted())


@pytest.mark.parametrize("begin", [b"<", b"[", b"$1=", b"$N1=", b">", b"Grbl 1.1h"])
@pytest.mark.parametrize("filling", [b"a", b":", b"0", b" ", b"|", b",", b"]", b":ok", b"G4"])
def test_a_line_of_two_megabytes_is_read_at_all(begin, filling):
    # time that grows with the square of the length would be hours
    line = begin + filling * (2_000_000 // len(filling)) + b"x"

    assert parse_line(line) is not None


def test_a_line_may_fill_the_window_to_the_last_byte_and_no_further():
    window = ReceiveWindow(13)  # one byte stays free
    window.claim(b"G0 X1\n")

    with pytest.raises(UnfitLine):
        window.claim(b"G0 X22\n")
    window.claim(b"G0 X2\n")

    assert window.free_bytes == 0


@pytest.mark.parametrize(("reported", "usable"), [(128, 127), (1024, MOST_BYTES), (64, 63)])
def test_the_window_follows_what_the_controller_reports_up_to_what_a_stop_byte_may_wait_for(
    reported, usable
):
    assert ReceiveWindow(reported).free_bytes == usable


def test_a_reply_frees_the_oldest_line_whatever_its_length():
    window = ReceiveWindow(128)
    window.claim(b"X.1S600\n")
    window.claim(b"X.1S0\n")

    assert window.release_oldest() == b"X.1S600\n"
    assert window.taken_bytes == len(b"X.1S0\n")


def test_an_answer_to_nothing_is_a_fault_of_the_controller():
    with pytest.raises(UnexpectedReply):
        ReceiveWindow().release_oldest()


def test_a_reply_without_a_line_is_reported_as_stray():
    assert Link().receive(b"ok\r\nerror:9\r\n") == [
        StrayReplyReceived("ok"),
        StrayReplyReceived("error:9"),
    ]


def test_a_refusal_names_the_line_that_was_refused():
    link = Link()
    link.send([b"G1X1", b"G5X2", b"G1X3"])

    assert link.receive(b"ok\r\nerror:20\r\nok\r\n") == [
        LineAccepted(),
        LineRefused(20, "G5X2"),
        LineAccepted(),
    ]


def test_a_greeting_empties_the_window():
    link = Link()
    link.send([b"X.1S600"] * 10)

    link.receive(b"\r\nGrbl 1.1h ['$' for help]\r\n")

    assert link.window.lines_in_flight == 0
    assert link.window.free_bytes == MOST_BYTES


def test_pushes_free_nothing():
    link = Link()
    link.send([b"G0X1"])

    link.receive(b"[MSG:Pgm End]\r\n<Run|MPos:0.000,0.000,0.000|FS:0,0>\r\n>G21:ok\r\n")

    assert link.window.lines_in_flight == 1


def test_the_work_position_follows_from_an_offset_that_came_earlier():
    link = Link()
    link.receive(b"<Idle|MPos:5.000,5.000,0.000|FS:0,0|WCO:1.000,2.000,0.000>\r\n")

    [report] = link.receive(b"<Run|MPos:6.000,5.000,0.000|FS:0,0>\r\n")

    assert report.work_mm == (5.0, 3.0, 0.0)


def test_the_machine_position_follows_where_the_controller_reports_the_other():
    link = Link()
    link.receive(b"<Idle|WPos:0.000,0.000,0.000|FS:0,0|WCO:1.000,2.000,0.000>\r\n")

    [report] = link.receive(b"<Run|WPos:3.000,0.000,0.000|FS:0,0>\r\n")

    assert report.machine_mm == (4.0, 2.0, 0.0)


def test_no_position_is_guessed_before_the_offset_is_known():
    [report] = Link().receive(b"<Run|MPos:6.000,5.000,0.000|FS:0,0>\r\n")

    assert report.work_mm is None


def test_a_buffer_that_holds_more_than_is_in_flight_contradicts_the_count():
    link = Link()
    link.empty_receive_bytes = 128
    link.send([b"X.1S600"] * 2)

    events = link.receive(b"<Run|MPos:0.000,0.000,0.000|Bf:0,111|FS:0,0>\r\n")

    assert events[1:] == [CountContradicted(1)]


def test_a_buffer_that_holds_what_is_in_flight_does_not():
    link = Link()
    link.empty_receive_bytes = 128
    link.send([b"X.1S600"] * 2)

    events = link.receive(b"<Run|MPos:0.000,0.000,0.000|Bf:0,112|FS:0,0>\r\n")

    assert len(events) == 1


@given(st.lists(st.tuples(st.sampled_from(["send", "reply"]), st.integers(1, 30))))
def test_the_window_is_never_exceeded_whatever_the_order_of_replies(steps):
    link = Link()
    outstanding = []
    for what, length in steps:
        if what == "send" and length + 1 <= link.window.free_bytes:
            outstanding.append(len(link.send([b"X" * length])))
        elif what == "reply" and outstanding:
            outstanding.pop(0)
            link.receive(b"ok\r\n")

        assert sum(outstanding) == link.window.taken_bytes <= MOST_BYTES


@pytest.mark.parametrize("number", sorted(RESTARTING_ALARMS))
def test_an_ok_between_an_alarm_and_the_greeting_answers_no_line(number):
    """The 8-bit firmware says ok for the line it gave up (recorded for 2, 6, 8 and 9)."""
    link = Link()
    link.send([b"G1X1", b"G1X2"])

    assert link.receive(b"ALARM:%d\r\nok\r\n" % number)[1:] == [StrayReplyReceived("ok")]
    assert link.window.lines_in_flight == 2

    link.receive(b"\r\nGrbl 1.1h ['$' for help]\r\n")
    link.send([b"$X"])
    assert link.receive(b"ok\r\n") == [LineAccepted()]


def test_an_alarm_that_the_controller_goes_on_from_leaves_the_answers_what_they_are():
    link = Link()
    link.send([b"G38.2X5"])

    assert link.receive(b"ALARM:5\r\nok\r\n") == [AlarmRaised(5), LineAccepted()]
