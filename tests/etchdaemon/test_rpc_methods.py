"""The table of methods: what it says is what is checked, and what METHODS.md shows."""

import pytest
from msgspec import NODEFAULT

from etchdaemon.rpc.methods import AT_ONCE, METHODS, find_method
from etchdaemon.rpc.parameters import fitting, made, parameters_of
from etchwire.calls.call import (
    LARGEST_NUMBER,
    DurationS,
    LengthMm,
    Right,
    WholeNumber,
    file_names,
)
from etchwire.calls.catalogue import AssignedTile
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Head
from etchwire.catalogue.jigs import JigRecord
from etchwire.catalogue.lots import Lot
from etchwire.catalogue.orders import OrderRecord, ShopFigures
from etchwire.catalogue.records import CardRecord, ReadingRecord, RecipeRecord, Surface
from etchwire.errors import Refused, UnfitParameters, UnknownMethod
from etchwire.transport.json_text import JsonTable
from support.samples.sheets import JIG_TABLE

RECIPE = {
    "head": "shed", "surface": "slate", "feed_mm_per_min": 2000.0, "power_ratio": 0.5,
    "line_spacing_mm": 0.1,
}  # fmt: skip
CARD = {
    "number": 3, "kind": "power", "head": "shed", "surface": "slate", "gcode_sha256": "ab" * 32,
    "layout_packed": "",
}  # fmt: skip
FIT = {
    WholeNumber: 7,
    WholeNumber | None: 7,
    LengthMm: 7,
    DurationS: 7,
    str: "Ada",
    bool: True,
    JsonTable: {"dry": True},
    tuple[str, ...]: ["lid closed"],
    tuple[WholeNumber, ...]: [7],
    tuple[AssignedTile, ...]: [{"pocket": 7, "lot": "lot 7"}],
    Head: PRACTICE_HEADS["practice-20w"].to_table(),
    Surface: {"name": "slate"},
    RecipeRecord: RECIPE,
    CardRecord: CARD,
    ReadingRecord: {"card": 3, "way": "camera"},
    Lot: {"name": "lot 7", "surface": "slate", "painted_at_utc": "2026-11-24T17:00:00+00:00"},
    OrderRecord: {"customer": "Ada"},
    ShopFigures: {"tile": 1.5},
    JigRecord: JIG_TABLE,
}
NUMBERS = (WholeNumber, WholeNumber | None)
TABLES = (
    JsonTable, Head, Surface, RecipeRecord, CardRecord, ReadingRecord, Lot, OrderRecord,
    JigRecord, ShopFigures,
)  # fmt: skip
PARAMETERS = [(kind, given) for kind in METHODS for given in parameters_of(kind)]
NO_NUMBERS = [-1, 1.0, True, "7", [], {}, LARGEST_NUMBER + 1, 10**400]
NO_LENGTHS = ["7", None, True, [], 2e6, 10**400, float("nan")]
NO_DURATIONS = ["7", None, True, -1.0, 2e8, float("nan")]
ANYTHING = [7, 1.0, None, "7", True, [], {}, [7], ["a", None]]
FITTING = {  # what of `ANYTHING` fits
    str: ["7"],
    bool: [True],
    tuple[str, ...]: [[]],
    tuple[WholeNumber, ...]: [[], [7]],
    tuple[AssignedTile, ...]: [[]],
}
READING = {
    "status", "subscribe", "settings", "wiring", "runs", "run", "run_rows", "run_events", "backups",
    "unfinished", "heads", "filter", "surfaces", "recipes", "cards", "card", "readings", "reading",
    "time_line", "history", "lots", "orders", "order", "shop", "jigs",
    "confirmations",
}  # fmt: skip
NAMES = READING | {
    "load", "reenter", "unload", "arm", "disarm", "start", "hold", "hold_now", "resume", "reset",
    "answer_round", "bed_touched", "set_feed", "set_power", "set_dose",
    "home", "unlock", "set_origin",
    "find_origin", "move_to", "move_by", "trace_outline", "measure", "try_output", "stop",
    "save_head", "wipe_lens", "save_surface", "save_recipe", "retire_recipe", "save_card",
    "save_reading", "accept_reading", "save_verdict", "backup",
    "save_lot", "assign_tile", "save_order", "add_orders", "note_proof", "forget_order",
    "save_shop", "save_jig", "change_filter",
}  # fmt: skip


def full(kind):
    return {given.name: FIT[given.kind] for given in parameters_of(kind)}


def those_of(*kinds):
    return [(kind, given) for kind, given in PARAMETERS if given.kind in kinds]


def named(value):
    return value.method() if isinstance(value, type) else getattr(value, "name", None)


def test_the_methods_have_the_names_that_they_have_on_the_wire():
    assert {kind.method() for kind in METHODS} == NAMES
    assert len(METHODS) == len(NAMES)


@pytest.mark.parametrize("kind", METHODS, ids=named)
def test_a_method_takes_its_own_parameters_and_no_other(kind):
    assert find_method(kind.method()) is kind
    assert fitting(kind, full(kind)).keys() == full(kind).keys()
    with pytest.raises(UnfitParameters, match="'force'"):
        fitting(kind, full(kind) | {"force": 1})


@pytest.mark.parametrize("kind", METHODS, ids=named)
def test_parameters_that_fit_make_the_call(kind):
    entries = fitting(kind, full(kind)) | dict.fromkeys(file_names(kind), 5)

    assert {name: getattr(made(kind, entries), name) for name in entries} == entries


def refused(kind, given, values):
    """Return those of `values` that are refused in a sentence that names the parameter."""
    return [value for value in values if is_refused(kind, given.name, value)]


def is_refused(kind, name, value):
    try:
        fitting(kind, full(kind) | {name: value})
    except UnfitParameters as unfit:
        return f"'{name}' must be" in str(unfit)
    return False


@pytest.mark.parametrize(("kind", "number"), those_of(*NUMBERS), ids=named)
def test_a_parameter_that_is_no_whole_number_is_refused(kind, number):
    assert refused(kind, number, NO_NUMBERS) == NO_NUMBERS


@pytest.mark.parametrize(("kind", "length"), those_of(LengthMm), ids=named)
def test_a_parameter_that_is_no_length_is_refused(kind, length):
    assert fitting(kind, full(kind) | {length.name: -0.1})[length.name] == -0.1
    assert refused(kind, length, NO_LENGTHS) == NO_LENGTHS


@pytest.mark.parametrize(("kind", "duration"), those_of(DurationS), ids=named)
def test_a_parameter_that_is_no_duration_is_refused(kind, duration):
    assert refused(kind, duration, NO_DURATIONS) == NO_DURATIONS


@pytest.mark.parametrize(("kind", "word"), those_of(*FITTING), ids=named)
def test_a_parameter_of_another_kind_than_its_own_is_refused(kind, word):
    fit = FITTING[word.kind]
    unfit = [value for value in ANYTHING if repr(value) not in map(repr, fit)]  # 1.0 == True

    assert refused(kind, word, unfit) == unfit
    for value in fit:
        taken = fitting(kind, full(kind) | {word.name: value})[word.name]
        assert taken == (tuple(value) if isinstance(value, list) else value)


@pytest.mark.parametrize(("kind", "table"), those_of(*TABLES), ids=named)
def test_a_parameter_that_is_no_table_is_refused(kind, table):
    unfit = [value for value in ANYTHING if value != {}]

    assert refused(kind, table, unfit) == unfit


# Of the shop's figures none is needed.
@pytest.mark.parametrize(("kind", "record"), those_of(*TABLES[1:-1]), ids=named)
def test_a_record_that_lacks_an_entry_is_refused_in_a_sentence(kind, record):
    with pytest.raises(Refused, match=r"^[A-Z].* lacks the entry '\w+'\.$") as refusal:
        fitting(kind, full(kind) | {record.name: {}})

    assert not isinstance(refusal.value, UnfitParameters)  # it is of the right kind, and no record


@pytest.mark.parametrize(("kind", "given"), PARAMETERS, ids=named)
def test_a_parameter_is_given_or_has_a_stand_in(kind, given):
    params = {name: value for name, value in full(kind).items() if name != given.name}

    if given.otherwise is NODEFAULT:
        with pytest.raises(UnfitParameters, match=f"'{given.name}' is missing"):
            fitting(kind, params)
    else:
        assert fitting(kind, params)[given.name] == given.otherwise


@pytest.mark.parametrize("name", ["", "Status", "__init__", "hello", "x" * 10_000])
def test_what_is_not_in_the_table_is_unknown(name):
    with pytest.raises(UnknownMethod) as unknown:
        find_method(name)

    assert len(str(unknown.value)) < 80


def test_only_reading_is_observing():
    assert {kind.method() for kind in METHODS if kind.right is Right.OBSERVE} == READING


def test_what_makes_the_machine_safe_is_answered_at_once():
    assert {"hold", "hold_now", "stop"} == AT_ONCE
