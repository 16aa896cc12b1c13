"""Whether what a test card showed may come from a disturbed etch."""

import pytest

from etchweb.cards.disturbance import NOT_SURE, disturbances
from etchwire.calls.history import RunEvent, RunRecord
from etchwire.calls.json_values import from_json_value
from support.fakes.fake_daemon import ETCH


def told(*kinds, **changes):
    run = from_json_value({**ETCH, **changes}, RunRecord)
    events = [
        RunEvent(id=number, at_s=1.0, at_utc="2026-11-25T17:00:00Z", kind=kind, text="", details={})
        for number, kind in enumerate(kinds)
    ]
    return disturbances(run, events)


def test_a_card_that_was_etched_in_one_go_is_not_marked():
    assert told("warning", "slowed") == ""


@pytest.mark.parametrize(
    ("kinds", "changes", "words"),
    [
        (["hold", "held", "resumed"], {}, "held 1 time"),
        (["held", "resumed", "held", "trip"], {}, "held 2 times, tripped 1 time"),
        (["override"], {}, "changed in speed or power"),
        ([], {"continued_by_run_id": 8, "ended": "stopped"}, "stopped and continued later"),
        ([], {"ended": "stopped"}, "not etched to its end"),
    ],
)
def test_a_card_that_was_disturbed_says_by_what(kinds, changes, words):
    assert told(*kinds, **changes) == f"This test card was disturbed: {words}. {NOT_SURE}"
