"""JSON-RPC 2.0 objects, against the examples of its specification (jsonrpc.org, section 7)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchwire.errors import MalformedMessage
from etchwire.transport.messages import Code, Failure, Request, Result, parse_message


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (
            {"jsonrpc": "2.0", "method": "subtract", "params": {"minuend": 42}, "id": 3},
            Request("subtract", {"minuend": 42}, 3),
        ),
        ({"jsonrpc": "2.0", "method": "foobar"}, Request("foobar", {}, None)),
        ({"jsonrpc": "2.0", "result": 19, "id": 3}, Result(3, 19)),
        (
            {
                "jsonrpc": "2.0",
                "error": {"code": -32601, "message": "Method not found"},
                "id": "1",
            },
            Failure("1", -32601, "Method not found", "internal"),
        ),
    ],
)
def test_the_specification_s_examples_are_understood(table, message):
    assert parse_message(table) == message


@pytest.mark.parametrize(
    "message",
    [
        Request("start", {}, 1),
        Request("status", {"sequence": 4}, None),
        Result(1, {"job_sha256": "ab"}),
        Result(None, None),
        Failure(7, Code.REFUSED, "Nothing is loaded.", "refused"),
    ],
)
def test_every_message_survives_the_wire(message):
    assert parse_message(message.to_table()) == message


@pytest.mark.parametrize(
    "table",
    [
        {},
        {"jsonrpc": "1.0", "method": "start"},
        {"method": "start", "id": 1},
        {"jsonrpc": "2.0", "method": 1, "params": {}},
        {"jsonrpc": "2.0", "method": "sum", "params": [1, 2]},
        {"jsonrpc": "2.0", "method": "sum", "id": {}},
        {"jsonrpc": "2.0", "method": "sum", "id": True},
        {"jsonrpc": "2.0", "method": "sum", "id": 1.5},
        {"jsonrpc": "2.0", "id": 1},
        {"jsonrpc": "2.0", "id": 1, "error": "no"},
    ],
)
def test_what_the_protocol_does_not_know_is_refused(table):
    with pytest.raises(MalformedMessage):
        parse_message(table)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


@given(
    st.fixed_dictionaries(
        {"jsonrpc": st.just("2.0")},
        optional=dict.fromkeys(("id", "method", "params", "result", "error"), JSON),
    )
)
def test_any_object_is_a_message_or_malformed(table):
    try:
        message = parse_message(table)
    except MalformedMessage:
        return

    assert parse_message(message.to_table()) == message
