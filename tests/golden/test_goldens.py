"""What leaves the daemon is byte for byte what it was: replies, snapshots, exports.

A change that is meant is written down by `PYTHONPATH=tests python -m golden.goldens`.
"""

import json

import pytest

from etchdaemon.rpc.methods import METHODS
from etchwire.calls.json_values import from_json_value, to_json_value
from etchwire.calls.snapshot import Snapshot
from golden.goldens import kept, live_all, made
from golden.wire_text import differences, is_as_encoded, readable

pytestmark = pytest.mark.slow

SHOWN_STATES = {
    "starting", "idle", "loaded", "armed", "etching", "holding", "held", "resuming", "stopping",
    "ended",
}  # fmt: skip


@pytest.fixture(scope="module")
def boxes(tmp_path_factory):
    return live_all(tmp_path_factory.mktemp("golden"))


@pytest.fixture(scope="module")
def texts(boxes):
    return made(boxes)


@pytest.mark.parametrize("path", kept())
def test_what_leaves_the_daemon_is_what_it_was(texts, path):
    assert texts.get(path) == kept()[path]


def test_nothing_leaves_it_that_has_no_golden_file(texts):
    assert texts.keys() == kept().keys()


def test_every_method_of_the_socket_has_golden_replies():
    assert {f"replies/{kind.method()}.json" for kind in METHODS} <= kept().keys()


def test_the_readable_files_hold_every_byte_of_the_lines(boxes):
    """What a file shows tells blanks, 1 and 1.0, a key given twice and the keys' order apart."""
    lines = [
        line
        for box in boxes.values()
        for line in (
            *box.snapshots.values(),
            *(one.line for exchanges in box.exchanges.values() for one in exchanges),
        )
    ]

    assert [line for line in lines if not is_as_encoded(line)] == []


def test_every_answer_and_snapshot_arrives_in_its_type_and_goes_on_with_the_same_entries(boxes):
    kinds = {kind.method(): kind.answer_type() for kind in METHODS}
    answers = [
        (kinds[method], json.loads(one.line).get("result"))
        for box in boxes.values()
        for method, exchanges in box.exchanges.items()
        for one in exchanges
    ]
    snapshots = [
        (Snapshot, json.loads(line)["result"])
        for box in boxes.values()
        for line in box.snapshots.values()
    ]
    told = [(kind, table) for kind, table in answers + snapshots if table is not None]

    assert len(told) > len(METHODS)
    for kind, table in told:
        gone_on = json.loads(json.dumps(to_json_value(from_json_value(table, kind))))
        assert gone_on == table
        assert list(gone_on) == list(table)


def test_every_state_is_seen(boxes):
    lines = [line for box in boxes.values() for line in box.snapshots.values()]

    assert {state for state in SHOWN_STATES if f'"state":"{state}"' in "".join(lines)} == (
        SHOWN_STATES
    )


@pytest.mark.parametrize("text", ['{"a": 1}', '{"a":1,"a":2}', '{"a":1e5}', '{"a":1.00}'])
def test_a_line_written_otherwise_is_not_taken_for_ours(text):
    assert not is_as_encoded(text)
    assert is_as_encoded('{"a":1,"b":1.0}')


@pytest.mark.parametrize(
    "other",
    [
        {"a": 1.0, "b": [{"c": 1}]},
        {"a": 1, "b": [{"c": 2}]},
        {"b": [{"c": 1}], "a": 1},
        {"a": 1, "b": [{"c": 1}, {"c": 1}]},
        {"a": 1},
        {"a": 1, "b": None},
        {"a": True, "b": [{"c": 1}]},
    ],
)
def test_a_difference_of_any_kind_is_shown(other):
    assert differences({"a": 1, "b": [{"c": 1}]}, other) not in ({}, None)


def test_a_long_table_stands_over_several_lines():
    assert readable({"a": ["x" * 60, "y" * 60]}).splitlines() == [
        "{",
        ' "a": [',
        f'  "{"x" * 60}",',
        f'  "{"y" * 60}"',
        " ]",
        "}",
    ]
