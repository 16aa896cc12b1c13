"""Every type of the wire there and back through its bytes, and what msgspec alone would let by."""

import math
import subprocess
import sys

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etchwire.calls.history import RunEvent, RunRow
from etchwire.calls.json_values import from_json_value, to_json_value
from etchwire.calls.machine import DotSpeed, SetFeed
from etchwire.calls.time_line import TimeLinePage
from etchwire.errors import MalformedMessage
from etchwire.transport.framing import decode, encode
from support.samples.wire_values import ALL_CALLS, UNKNOWN_EVENTS, required_names, values_of

pytestmark = pytest.mark.slow

FEW = settings(max_examples=10)  # of each of some thirty types
ANSWERS = list(dict.fromkeys(call.answer_type() for call in ALL_CALLS))
EVENT = {"id": 1, "at_s": 2.0, "at_utc": "2026-11-28T06:00:00Z", "kind": "hold", "text": ""}
DEEP = 5_000
# A type with a type in it, of which one thread works out the inner half when another comes.
TWO_THREADS = """
import threading
from etchwire.calls.json_values import from_json_value
from etchwire.wire_value import WireValue

is_half_known, other_has_come = threading.Event(), threading.Event()

def number():
    is_half_known.set()
    other_has_come.wait(60)
    return int

class Inner(WireValue):
    count: "number()"

class Outer(WireValue):
    inner: Inner

counts = []

def read():
    counts.append(from_json_value({"inner": {"count": 1}}, Outer).inner.count)

one, other = (threading.Thread(target=read, daemon=True) for _ in range(2))
one.start()
is_half_known.wait(60)
other.start()
other.join(0.2)  # it ends at once, or waits for the first
other_has_come.set()
one.join()
other.join()
print(*counts)  # two threads would print into each other's lines
"""


@pytest.mark.parametrize("kind", ANSWERS, ids=lambda kind: kind.__name__)
@FEW
@given(data=st.data())
def test_an_answer_arrives_as_it_was_sent_and_goes_on_in_the_same_bytes(kind, data):
    sent = data.draw(values_of(kind))
    line = encode({"result": to_json_value(sent)})

    arrived = from_json_value(decode(line[:-1])["result"], kind)

    assert arrived == sent
    assert encode({"result": to_json_value(arrived)}) == line


@pytest.mark.parametrize("kind", ANSWERS, ids=lambda kind: kind.__name__)
@FEW
@given(data=st.data())
def test_what_a_newer_peer_says_besides_is_passed_over(kind, data):
    sent = data.draw(values_of(kind))

    assert from_json_value(to_json_value(sent) | {"mood": {"is_good": True}}, kind) == sent


@pytest.mark.parametrize("kind", ANSWERS, ids=lambda kind: kind.__name__)
@FEW
@given(data=st.data())
def test_what_an_older_peer_leaves_out_is_named(kind, data):
    table = to_json_value(data.draw(values_of(kind)))
    for name in required_names(kind):
        less = {entry: value for entry, value in table.items() if entry != name}

        with pytest.raises(MalformedMessage, match=f"missing required field `{name}`"):
            from_json_value(less, kind)


@FEW
@given(UNKNOWN_EVENTS)
def test_a_happening_of_a_kind_not_known_yet_keeps_what_all_have(event):
    page = TimeLinePage(events=(event,), next_before=None)
    table = to_json_value(page)
    table["events"][0]["depth_mm"] = 3.0

    assert from_json_value(table, TimeLinePage) == page


def test_a_happening_that_is_no_table_is_refused():
    with pytest.raises(MalformedMessage, match="TimeLineEvent"):
        from_json_value({"events": [3], "next_before": None}, TimeLinePage)


@pytest.mark.parametrize("row", [[1, 2], [0, 5, False, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 2.0, 3.0]])
def test_a_row_of_another_length_is_refused(row):
    with pytest.raises(MalformedMessage, match="length"):
        from_json_value(row, RunRow)


# msgspec's own writer and reader would let these by; each of them once did, in this very form.


def test_what_is_no_number_is_not_sent_as_null():
    speed = DotSpeed(dots=1, mm_per_min=math.nan)
    assert msgspec.json.encode(speed) == b'{"dots":1,"mm_per_min":null}'

    with pytest.raises(MalformedMessage, match="cannot be sent as JSON"):
        encode({"result": to_json_value(speed)})


@pytest.mark.parametrize("text", [b"NaN", b"Infinity", b"1e999"])
def test_what_is_no_number_does_not_arrive(text):
    with pytest.raises(MalformedMessage):
        from_json_value(decode(b'{"dots":1,"mm_per_min":' + text + b"}"), DotSpeed)


def test_a_parameter_beyond_what_readers_agree_on_does_not_arrive():
    assert msgspec.json.decode(b"18446744073709551616", type=int) == 2**64

    with pytest.raises(MalformedMessage, match="<= 9007199254740992"):
        from_json_value({"percent": 2**64}, SetFeed)


def test_what_is_nested_deeply_is_refused_and_ends_nothing():
    deep = b'{"details":' + b"[" * DEEP + b"]" * DEEP + b"}"
    with pytest.raises(RecursionError):
        msgspec.json.decode(deep)

    with pytest.raises(MalformedMessage, match="nested"):
        decode(deep)


def test_what_is_nested_deeply_is_not_sent():
    nested = []
    for _ in range(DEEP):
        nested = [nested]

    with pytest.raises((MalformedMessage, RecursionError)):
        encode({"result": to_json_value(RunEvent(**EVENT, details={"deep": nested}))})


def test_two_threads_that_meet_a_type_for_the_first_time_both_get_their_value():
    ended = subprocess.run(
        [sys.executable, "-c", TWO_THREADS], capture_output=True, text=True, check=False
    )
    assert (ended.returncode, ended.stdout.split()) == (0, ["1", "1"])
