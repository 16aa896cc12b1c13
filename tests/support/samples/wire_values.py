"""Values of every type that crosses the socket, made from the types themselves."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, Union, get_args, get_origin, get_type_hints

from hypothesis import strategies as st
from msgspec import UNSET, UnsetType, structs

from etchwire.calls.backup import BACKUP_CALLS
from etchwire.calls.call import LengthMm, WholeNumber
from etchwire.calls.catalogue import CATALOGUE_NOTES, CATALOGUE_QUESTIONS
from etchwire.calls.history import HISTORY_CALLS
from etchwire.calls.machine import MACHINE_CALLS
from etchwire.calls.orders import ORDER_NOTES, ORDER_QUESTIONS
from etchwire.calls.time_line import EVENT_TYPES, TIME_LINE_CALLS, TimeLineEvent, UnknownEvent
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_SURFACES
from etchwire.catalogue.heads import Head
from etchwire.catalogue.jigs import JigRecord
from etchwire.catalogue.lots import Lot
from etchwire.catalogue.orders import OrderItem, OrderRecord, ShopFigures
from etchwire.catalogue.records import (
    CardRecord,
    ReadingRecord,
    RecipeRecord,
    SparePlace,
    Surface,
)
from etchwire.controller.profile import EIGHT_BIT, THIRTY_TWO_BIT, ControllerProfile
from etchwire.wire_value import WireValue

ALL_CALLS = (
    *MACHINE_CALLS, *HISTORY_CALLS, *CATALOGUE_QUESTIONS, *TIME_LINE_CALLS, *CATALOGUE_NOTES,
    *ORDER_QUESTIONS, *ORDER_NOTES, *BACKUP_CALLS,
)  # fmt: skip
_TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=6)
_FIGURES = st.floats(allow_nan=False, allow_infinity=False)
_FREE = st.none() | st.booleans() | st.integers(-(2**53), 2**53) | _FIGURES | _TEXTS
_RECIPE = {
    "head": "shed", "surface": "slate", "feed_mm_per_min": 2000.0, "power_ratio": 0.5,
    "line_spacing_mm": 0.1,
}  # fmt: skip

# What checks itself is made of examples; a length and a number have their bounds.
_STRATEGIES = {
    str: _TEXTS,
    bool: st.booleans(),
    int: st.integers(-(2**53), 2**53),
    float: _FIGURES,
    NoneType: st.none(),
    UnsetType: st.just(UNSET),
    WholeNumber: st.integers(0, 2**53),
    LengthMm: st.floats(-1e6, 1e6),
    Any: _FREE | st.lists(_FREE, max_size=2) | st.dictionaries(_TEXTS, _FREE, max_size=2),
    Head: st.sampled_from(list(PRACTICE_HEADS.values())),
    Surface: st.sampled_from(list(PRACTICE_SURFACES)),
    Lot: st.just(Lot(name="lot 7", surface="slate", painted_at_utc="2026-11-24T17:00:00+00:00")),
    OrderItem: st.just(OrderItem(title="a dog", width_mm=100.0, height_mm=90.0, surface="slate")),
    OrderRecord: st.just(OrderRecord(customer="Ada", due_on="2026-12-01")),
    JigRecord: st.just(
        JigRecord(
            name="shed's jig", columns=4, rows=3, pitch_x_mm=100.0, pitch_y_mm=100.0, width_mm=90.0,
            height_mm=90.0, lower_left_x_mm=10.0, lower_left_y_mm=10.0, upper_right_x_mm=400.0,
            upper_right_y_mm=300.0,
        )
    ),
    ShopFigures: st.just(ShopFigures(machine_per_h=2.5)),
    ControllerProfile: st.sampled_from([EIGHT_BIT, THIRTY_TWO_BIT]),
    RecipeRecord: st.just(RecipeRecord(**_RECIPE)),
    CardRecord: st.builds(
        CardRecord, number=st.integers(1, 2**31), kind=st.sampled_from(["power", "tone"]),
        head=_TEXTS, surface=_TEXTS, gcode_sha256=st.just("ab" * 32), layout_packed=_TEXTS,
    ),
    SparePlace: st.just(
        SparePlace(
            tile="spare 1", tile_width_mm=150.0, tile_height_mm=100.0, left_mm=5.0, top_mm=5.0,
            width_mm=60.0, height_mm=50.0,
        )
    ),
    ReadingRecord: st.just(ReadingRecord(card=3, way="camera", marks={"1,1": "burnt"})),
}  # fmt: skip


def values_of(kind):
    """Return a strategy for values of `kind`."""
    if kind in _STRATEGIES:
        return _STRATEGIES[kind]
    if kind is TimeLineEvent:
        return st.one_of([_event(word, one) for word, one in EVENT_TYPES.items()])
    if get_origin(kind) in _MADE_OF:
        return _MADE_OF[get_origin(kind)](get_args(kind))
    return st.builds(kind, **_entries(kind))


def _tuples(inner):
    if inner[1:] == (...,):
        return st.lists(values_of(inner[0]), max_size=2).map(tuple)
    return st.tuples(*map(values_of, inner))


def _either(inner):
    return st.one_of([values_of(one) for one in inner])


_MADE_OF = {
    Union: _either,
    UnionType: _either,
    Annotated: lambda inner: values_of(inner[0]),
    tuple: _tuples,
    Mapping: lambda inner: st.dictionaries(*map(values_of, inner), max_size=2),
}


def _entries(kind):
    """Return a strategy for each entry of a type made of parts."""
    hints = get_type_hints(kind, include_extras=True)
    return {name: values_of(hints[name]) for name in _names(kind)}


def _names(kind):
    if issubclass(kind, WireValue):
        return kind.__struct_fields__
    return [one.name for one in fields(kind)] if is_dataclass(kind) else kind._fields


def _event(word, kind):
    return st.builds(kind, **_entries(kind) | {"kind": st.just(word)})


def required_names(kind):
    """Return the names of the entries that have no stand-in."""
    return [one.name for one in structs.fields(kind) if one.required]


UNKNOWN_EVENTS = st.builds(UnknownEvent, **_entries(UnknownEvent) | {"kind": st.just("flood")})
