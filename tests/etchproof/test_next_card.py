"""The order of test cards: each is due once those that it stands on were read."""

from dataclasses import replace
from itertools import product

import pytest

from etchproof.card import FOCUS, POWER, REGISTER, SPACING, TONE
from etchproof.choosing.next_card import PairState, next_card

UNKNOWN = PairState(
    is_spot_unknown=True, is_spot_measured=False, has_recipe=False, has_greys=False,
    is_register_measured=False, kinds_read=frozenset(),
)  # fmt: skip
GAINED = {  # what is known once a card was read and its result taken over
    FOCUS: {"is_spot_unknown": False, "is_spot_measured": True},
    POWER: {"has_recipe": True},
    SPACING: {"has_recipe": True, "has_greys": False},
    TONE: {"has_greys": True},
    REGISTER: {"is_register_measured": True},
}


def after(state, kind):
    return replace(state, **GAINED[kind], kinds_read=state.kinds_read | {kind})


def test_an_unknown_spot_leads_through_all_five_cards_to_a_picture():
    state, kinds = UNKNOWN, []
    while (due := next_card(state)) is not None:
        kinds.append(due.kind)
        state = after(state, due.kind)

    assert kinds == [FOCUS, POWER, REGISTER, SPACING, TONE]


def test_a_stated_spot_leads_past_the_spacing_card():
    state = after(after(replace(UNKNOWN, is_spot_unknown=False), POWER), REGISTER)

    assert next_card(state).kind == TONE


def test_no_result_that_was_only_saved_is_asked_for_for_ever():
    """A focus or spacing card that changed nothing is not due again."""
    read = replace(UNKNOWN, kinds_read=frozenset({FOCUS}))
    measured = after(after(UNKNOWN, FOCUS), POWER)
    spaced = replace(after(measured, REGISTER), kinds_read=measured.kinds_read | {SPACING})

    assert [next_card(one).kind for one in (read, spaced)] == [POWER, TONE]


@pytest.mark.parametrize("known", list(product((False, True), repeat=5)))
def test_no_state_is_without_a_way_to_a_picture(known):
    names = [name for name in PairState.__slots__ if name != "kinds_read"]
    state = PairState(**dict(zip(names, known, strict=True)), kinds_read=frozenset())

    for _ in GAINED:
        due = next_card(state)
        if due is None:
            break
        state = after(state, due.kind)

    assert next_card(state) is None
