"""Lines in, objects out: every cut of the bytes, every kind of nonsense."""

import contextlib
import itertools
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchwire.errors import LineTooLong, MalformedMessage
from etchwire.transport.framing import LINE_LIMIT_BYTES, LineBuffer, decode, encode
from etchwire.transport.json_text import DEEPEST_LEVELS

PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**60), 2**60)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=("Cs",))),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=12,
)
OBJECTS = st.dictionaries(st.text(st.characters(exclude_categories=("Cs",)), max_size=8), PLAIN)


def lines_of(pieces):
    """Return the lines heard from `pieces`, and whether the buffer gave up."""
    buffer, heard = LineBuffer(), []
    for piece in pieces:
        buffer.feed_bytes(piece)
        try:
            heard.extend(buffer.lines())
        except LineTooLong:
            return heard, True
    return heard, False


def cut(data, places):
    edges = sorted({0, len(data), *(place % (len(data) + 1) for place in places)})
    return [data[start:end] for start, end in itertools.pairwise(edges)]


@given(OBJECTS)
def test_what_is_encoded_decodes_to_itself(message):
    assert decode(encode(message)[:-1]) == message


@pytest.mark.slow
@given(st.lists(OBJECTS, max_size=4), st.lists(st.integers(0, 10**6), max_size=6))
def test_every_way_of_cutting_the_bytes_gives_the_same_messages(messages, places):
    data = b"".join(map(encode, messages))

    heard, gave_up = lines_of(cut(data, places))

    assert [decode(line) for line in heard] == messages
    assert not gave_up


@given(st.binary(max_size=400), st.lists(st.integers(0, 400), max_size=6))
def test_any_bytes_give_objects_or_a_malformed_message_and_nothing_else(data, places):
    heard, _ = lines_of(cut(data, places))

    for line in heard:
        with contextlib.suppress(MalformedMessage):
            assert isinstance(decode(line), dict)


@given(st.text(alphabet='{}[]",:0123456789.eE+-\\udNIafinty tru', max_size=60))
def test_anything_that_resembles_json_is_an_object_or_malformed(text):
    try:
        message = decode(text.encode())
    except MalformedMessage:
        return

    assert decode(encode(message)[:-1]) == message


@pytest.mark.parametrize(
    "line",
    [
        b'{"a":NaN}',
        b'{"a":Infinity}',
        b'{"a":-Infinity}',
        b'{"a":1e999}',
        b'{"a":-1e999}',
        b'{"a":"\\ud800"}',
        b'{"\\udfff":1}',
        b'{"a":"\xff"}',
        b'{"a":"\xed\xa0\x80"}',  # a surrogate written as UTF-8
        b'{"a":' + b"1" * 5000 + b"}",  # more digits than Python turns into a number
        b"[" * 60_000,
        b'{"a":' * 10_000,
        b'{"a":' + b"[" * DEEPEST_LEVELS + b"]" * DEEPEST_LEVELS + b"}",
        b"[]",
        b"null",
        b'"text"',
        b"12",
        b"{",
        b"{}{}",
        b"\x00",
        b"GET / HTTP/1.1\r",
    ],
    ids=lambda line: repr(line[:24]),
)
def test_what_another_program_could_not_read_is_refused(line):
    with pytest.raises(MalformedMessage):
        decode(line)


def test_nesting_is_accepted_to_the_last_level_and_no_deeper():
    inner = DEEPEST_LEVELS - 1

    message = decode(b'{"a":' + b"[" * inner + b"]" * inner + b"}")

    assert json.dumps(message).count("[") == inner


@pytest.mark.parametrize(
    "value",
    [math.nan, math.inf, object(), b"bytes", {1, 2}, "\ud800"],
    ids=["nan", "infinity", "object", "bytes", "set", "lone surrogate"],
)
def test_what_json_cannot_say_is_not_sent(value):
    with pytest.raises(MalformedMessage):
        encode({"a": value})


def test_a_line_may_fill_the_limit_to_the_last_byte_and_no_further():
    fits = b"x" * (LINE_LIMIT_BYTES - 1) + b"\n"

    assert lines_of([fits, b"y\n"]) == ([fits[:-1], b"y"], False)
    assert lines_of([b"a\n", b"x" + fits, b"y\n"]) == ([b"a"], True)


def test_a_line_without_an_end_is_given_up_as_soon_as_it_fills_the_limit():
    endless = [b"x" * 1000] * 66

    assert lines_of(endless[:65]) == ([], False)
    assert lines_of(endless) == ([], True)


def test_nothing_after_a_line_too_long_is_believed():
    buffer = LineBuffer()
    buffer.feed_bytes(b"x" * LINE_LIMIT_BYTES)
    with pytest.raises(LineTooLong):
        list(buffer.lines())

    buffer.feed_bytes(b'\n{"method":"start"}\n')

    with pytest.raises(LineTooLong):
        list(buffer.lines())
    assert not buffer.has_unfinished_line


def test_a_message_too_long_for_the_wire_is_not_sent():
    around = len(encode({"a": ""}))

    assert len(encode({"a": "x" * (LINE_LIMIT_BYTES - around)})) == LINE_LIMIT_BYTES
    with pytest.raises(LineTooLong):
        encode({"a": "x" * (LINE_LIMIT_BYTES - around + 1)})


def test_empty_lines_say_nothing():
    assert lines_of([b"\n \n\r\n{}\n\n"]) == ([b"{}"], False)
