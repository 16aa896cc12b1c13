"""Orders: what they may hold, which state follows from what happened, what a fingerprint covers."""

from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchproof.choosing.kinds import TREATMENTS
from etchwire.catalogue.order_states import (
    STATES,
    ItemFacts,
    item_state,
    order_state,
    tiles_to_make,
)
from etchwire.catalogue.orders import (
    MOST_ORDERS,
    TRIALS_OF_PLACE,
    OrderItem,
    OrderRecord,
    orders_in,
    place_warning,
)
from etchwire.errors import UnreadableSheet

ITEM = {"title": "a dog", "width_mm": 90.0, "height_mm": 90.0, "surface": "satin"}
FACTS = st.builds(
    ItemFacts,
    count=st.integers(1, 9),
    **dict.fromkeys(("good", "bad", "unjudged", "on_bench"), st.integers(0, 9)),
    is_shown=st.booleans(),
    is_accepted=st.booleans(),
)


@pytest.mark.parametrize(
    ("facts", "state", "to_make"),
    [
        ({}, "to prepare", 2),
        ({"is_shown": True}, "proof out", 2),
        ({"is_shown": True, "is_accepted": True}, "ready", 2),
        ({"is_accepted": True, "on_bench": 1}, "on the bench", 1),
        ({"is_accepted": True, "unjudged": 1}, "to judge", 1),
        ({"is_accepted": True, "good": 1}, "ready", 1),
        ({"is_accepted": True, "good": 1, "bad": 1}, "ready", 1),
        ({"is_accepted": True, "good": 1, "on_bench": 1}, "on the bench", 0),
        ({"good": 2}, "done", 0),
        ({"good": 2, "bad": 5}, "done", 0),
    ],
)
def test_a_state_follows_from_what_happened(facts, state, to_make):
    two = ItemFacts(count=2, **facts)

    assert (item_state(two), tiles_to_make(two)) == (state, to_make)


@given(FACTS)
def test_every_item_has_one_state_and_is_done_when_enough_tiles_are_good_and_not_before(facts):
    assert item_state(facts) in STATES
    assert (item_state(facts) == "done") is (facts.good >= facts.count)


@given(FACTS)
def test_a_bad_verdict_puts_one_more_tile_on_the_list(facts):
    etched = replace(facts, unjudged=facts.unjudged + 1)
    judged_bad = replace(facts, bad=facts.bad + 1)
    judged_good = replace(facts, good=facts.good + 1)

    assert tiles_to_make(judged_good) == tiles_to_make(etched)
    assert tiles_to_make(judged_bad) == tiles_to_make(facts)
    was_wanted = facts.count > facts.good + facts.unjudged + facts.on_bench
    assert tiles_to_make(judged_bad) - tiles_to_make(etched) == int(was_wanted)


@given(FACTS)
def test_a_withdrawn_yes_never_makes_an_item_ready(facts):
    withdrawn = replace(facts, is_accepted=False)

    assert item_state(withdrawn) != "ready"


@given(st.lists(st.sampled_from(STATES)))
def test_an_order_is_as_far_as_its_last_item(states):
    assert order_state(states) == (sorted(states, key=STATES.index) or ["to prepare"])[0]


CHANGES = {
    "width_mm": 91.0, "height_mm": 80.0, "text": "Rex 1998", "photo_sha256": "ab" * 32,
    "design_sha256": "cd" * 32,
}  # fmt: skip


@pytest.mark.parametrize("entry", CHANGES)
def test_whatever_is_shown_is_in_the_fingerprint(entry):
    item = OrderItem(**ITEM)

    assert replace(item, **{entry: CHANGES[entry]}).fingerprint != item.fingerprint


def test_what_is_not_shown_is_not_in_the_fingerprint():
    others = {
        "title": "another", "surface": "matt", "count": 3, "place": "wall", "draft": "x",
        "is_set": True, "price": 3.0, "id": 7,
    }  # fmt: skip

    assert replace(OrderItem(**ITEM), **others).fingerprint == OrderItem(**ITEM).fingerprint
    assert {one.name for one in fields(OrderItem)} == {*others, *CHANGES}


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"title": ""}, "no name of a photo or design"),
        ({"width_mm": 0.0}, "above zero"),
        ({"height_mm": 2001.0}, "at most 2000"),
        ({"count": 0}, "1 to 1000 tiles"),
        ({"place": "bath"}, "where it will live cannot be"),
        ({"text": "x" * 1001}, "1000 characters"),
        ({"photo_sha256": "abc"}, "named by their SHA-256"),
        ({"price": -1.0}, "price is from 0"),
    ],
)
def test_an_item_that_cannot_be_is_refused(wrong, words):
    with pytest.raises(UnreadableSheet, match=words):
        OrderRecord(customer="Ada", items=[ITEM | wrong])


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"customer": " "}, "no name of a customer"),
        ({"due_on": "Friday"}, "is no date"),
        ({"may_use_photo_on": "yes"}, "is no date"),
        ({"items": [ITEM] * 61}, "at most 60 items"),
        ({"items": ["a dog"]}, "must be a table"),
    ],
)
def test_an_order_that_cannot_be_is_refused(wrong, words):
    with pytest.raises(UnreadableSheet, match=words):
        OrderRecord.from_table({"customer": "Ada"} | wrong)


@pytest.mark.parametrize("text", ["", "{}", "[]", "[1]", '[{"who": "Ada"}]', "[" * 100_000])
def test_what_is_no_list_of_orders_is_refused(text):
    with pytest.raises(UnreadableSheet):
        orders_in(text)


def test_more_orders_than_are_taken_at_once_are_refused():
    with pytest.raises(UnreadableSheet, match="1 to 500 orders"):
        orders_in("[" + ",".join(['{"customer":"Ada"}'] * (MOST_ORDERS + 1)) + "]")


def test_an_untested_pairing_is_warned_of():
    item = OrderItem(**ITEM, place="dishwasher")

    assert "no check strip on it went through dishwasher" in place_warning(item, ["scouring"])
    assert place_warning(item, ["dishwasher"]) == ""
    assert place_warning(replace(item, place="wall"), []) == ""


def test_every_trial_that_is_asked_for_is_one_that_can_be_made():
    asked = {one for trials in TRIALS_OF_PLACE.values() for one in trials}

    assert asked <= set(TREATMENTS)
