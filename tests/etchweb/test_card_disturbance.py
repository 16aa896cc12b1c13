"""Whether what a test card showed may come from a disturbed etch."""

import html
import json

import pytest

from darkroom.cards import power_card
from etchproof.choosing.card_result import CardEvidence, result_of
from etchweb.cards.disturbance import NOT_SURE, disturbances
from etchweb.storage.card_files import READ_NAME, CardFiles
from etchwire.calls.history import RunEvent, RunRecord
from etchwire.calls.json_values import from_json_value
from support.fakes.card_book import CardBook
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


@pytest.fixture
def read_card(phone, daemon, tmp_path):
    """Return the address of a power card that was etched and read by hand."""
    card = power_card()
    book = CardBook(daemon)
    book.file(card)
    book.burn(card.number)
    daemon.answers["run"] = ETCH
    marks = {card.patches[0].cell: "too light", card.patches[-1].cell: "good"}
    told = result_of(CardEvidence(card=card, marks=marks))
    known = {"reading": "", "overlays": [], "marks": marks, "meets": {}}
    files = CardFiles.of(tmp_path, card.number)
    read = {
        **known, "of": files.question(known), "way": "hand", "told": told.table,
        "summary": told.summary, "recommended": told.recommended,
    }  # fmt: skip
    (files.folder / READ_NAME).write_text(json.dumps(read))
    return f"/test-tiles/{card.number}"


def held(text):
    return {"id": 1, "at_s": 1.0, "at_utc": "2026-11-25T17:00:00Z", "kind": "held", "text": text,
            "details": {}}  # fmt: skip


def test_the_reading_of_a_card_that_was_held_is_marked_on_its_page(phone, daemon, read_card):
    daemon.answers["run_events"] = {"events": [held("held at the row's end")], "next_after": None}
    disturbed = phone.look(read_card).text
    daemon.answers["run_events"] = {"events": [], "next_after": None}
    calm = phone.look(read_card).text

    assert "What it showed" in disturbed
    assert "This test card was disturbed: held 1 time." in disturbed
    assert html.unescape(disturbed).index("was disturbed") < disturbed.index("What it showed")
    assert "What it showed" in calm
    assert "was disturbed" not in calm
