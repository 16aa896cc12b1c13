"""The table of methods: what it says is what is checked, and what METHODS.md shows."""

from typing import Any

import pytest

from etchdaemon.rpc.method import LARGEST, REQUIRED, Length, Number, Right
from etchdaemon.rpc.methods import AT_ONCE, METHODS, find_method
from etchwire.errors import UnfitParameters, UnknownMethod

PARAMETERS = [(method, given) for method in METHODS for given in method.parameters]
NUMBERS = [(method, given) for method, given in PARAMETERS if isinstance(given, Number)]
LENGTHS = [(method, given) for method, given in PARAMETERS if isinstance(given, Length)]
WORDS = [(method, given) for method, given in PARAMETERS if hasattr(given, "kind")]
FIT = {str: "Ada", bool: True, dict[str, Any]: {"dry": True}, list[str]: ["lid closed"]}
READING = {
    "status",
    "subscribe",
    "settings",
    "wiring",
    "runs",
    "run",
    "run_rows",
    "run_events",
    "backups",
    "unfinished",
}
READING |= {"heads", "surfaces", "recipes", "cards", "card", "readings", "reading"}
READING |= {"time_line", "history"}


def full(method):
    return {
        given.name: FIT[given.kind] if hasattr(given, "kind") else 7 for given in method.parameters
    }


def number_id(value):
    return getattr(value, "name", None)


@pytest.mark.parametrize("method", METHODS, ids=number_id)
def test_a_method_takes_its_own_parameters_and_no_other(method):
    assert find_method(method.name) is method
    assert method.fit(full(method)) == full(method)
    with pytest.raises(UnfitParameters, match="takes no parameter 'force'"):
        method.fit(full(method) | {"force": 1})


@pytest.mark.parametrize(("method", "number"), NUMBERS, ids=number_id)
@pytest.mark.parametrize("value", [-1, 1.0, True, "7", [], {}, LARGEST + 1, 10**400], ids=repr)
def test_a_parameter_that_is_no_whole_number_is_refused(method, number, value):
    with pytest.raises(UnfitParameters, match=f"'{number.name}' must be a whole number"):
        method.fit(full(method) | {number.name: value})


@pytest.mark.parametrize(("method", "length"), LENGTHS, ids=number_id)
@pytest.mark.parametrize("value", ["7", None, True, [], 2e6, 10**400, float("nan")], ids=repr)
def test_a_parameter_that_is_no_length_is_refused(method, length, value):
    assert method.fit(full(method) | {length.name: -0.1})[length.name] == -0.1
    with pytest.raises(UnfitParameters, match=f"'{length.name}' must be a length in mm"):
        method.fit(full(method) | {length.name: value})


@pytest.mark.parametrize(("method", "word"), WORDS, ids=number_id)
@pytest.mark.parametrize("value", [7, 1.0, None, "7", True, [], {}, [7], ["a", None]], ids=repr)
def test_a_parameter_of_another_kind_than_its_own_is_refused(method, word, value):
    fit = {str: (str,), bool: (bool,), dict[str, Any]: (dict,), list[str]: ()}[word.kind]
    if type(value) in fit or (word.kind == list[str] and value == []):
        assert method.fit(full(method) | {word.name: value})[word.name] == value
        return

    with pytest.raises(UnfitParameters, match=f"'{word.name}' must be"):
        method.fit(full(method) | {word.name: value})


@pytest.mark.parametrize(("method", "number"), PARAMETERS, ids=number_id)
def test_a_parameter_is_given_or_has_a_stand_in(method, number):
    params = {name: value for name, value in full(method).items() if name != number.name}

    if number.otherwise is REQUIRED:
        with pytest.raises(UnfitParameters, match=f"'{number.name}' is missing"):
            method.fit(params)
    else:
        assert method.fit(params)[number.name] == number.otherwise


@pytest.mark.parametrize("name", ["", "Status", "__init__", "hello", "x" * 10_000])
def test_what_is_not_in_the_table_is_unknown(name):
    with pytest.raises(UnknownMethod, match="there is no method") as unknown:
        find_method(name)

    assert len(str(unknown.value)) < 80


def test_only_reading_is_observing():
    assert {method.name for method in METHODS if method.right is Right.OBSERVE} == READING


def test_what_makes_the_machine_safe_is_answered_at_once():
    assert {"hold", "hold_now", "stop"} == AT_ONCE
