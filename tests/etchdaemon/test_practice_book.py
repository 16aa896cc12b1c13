"""The card of a practice box: full or stuck by the machine's word, and SQLite does the rest."""

from functools import partial

import pytest

from etchdaemon.errors import LogbookUnavailable
from etchdaemon.logbook.practice_logbook import PracticeLogbook
from support.harnesses.logbooks import EVENT, OPENED_UTC, NamedLogbook, start_run

LONG_S = 60.0
LARGE = EVENT | {"details": {"seen": "x" * 9000}}  # no place without a free page


@pytest.fixture
def card(tmp_path):
    return tmp_path / "card"


@pytest.fixture
def logbook(tmp_path, card):
    with NamedLogbook.at(
        tmp_path / "logbook.sqlite3",
        utc_now=lambda: OPENED_UTC,
        connect=partial(PracticeLogbook, card=card),
        confirm_timeout_s=LONG_S,
    ) as logbook:
        yield logbook
        card.unlink(missing_ok=True)


@pytest.mark.parametrize(("state", "said"), [("full", "the disk is full"), ("stuck", "logbook")])
def test_a_spoilt_card_takes_no_record_and_a_mended_one_takes_the_next(logbook, card, state, said):
    run = start_run(logbook)

    card.write_text(state)
    logbook.confirm_timeout_s = LONG_S if state == "full" else 0.2
    with pytest.raises(LogbookUnavailable, match=said):
        logbook.confirm_event(run, **LARGE)
    card.unlink()
    logbook.confirm_timeout_s = LONG_S

    logbook.confirm_event(run, **(LARGE | {"text": "There is room."}))
    events = logbook.ask("run_events", id=run, after=0, limit=500)["events"]
    assert events[-1]["text"] == "There is room."
