"""A run's record, gathered from pages."""

import pytest

from etchwire.calls.call import Done
from etchwire.calls.history import Run, RunEvent, RunEventsPage, RunRow, RunRows, RunRowsPage
from etchwire.record import HoldTime, holds, run_record


def logbook_of(rows, events):
    """Return an `ask` that answers in pages of three."""

    def ask(call):
        assert call.id == 7
        if isinstance(call, Run):
            return Done()
        if isinstance(call, RunRows):
            later = [row for row in rows if row.row >= call.from_row]
            more = later[3].row if len(later) > 3 else None
            return RunRowsPage(columns=RunRow._fields, rows=tuple(later[:3]), next_row=more)
        later = [event for event in events if event.id > call.after]
        more = later[2].id if len(later) > 3 else None
        return RunEventsPage(events=tuple(later[:3]), next_after=more)

    return ask


def event(number, kind, at_s, text=""):
    return RunEvent(id=number, at_s=at_s, at_utc="", kind=kind, text=text, details={})


def row(number):
    return RunRow(2 * number, 10, False, 4000.0 - number, *[None] * 5, 0.4 * number)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 6, 7, 10])
def test_the_record_holds_every_row_and_event_however_many_pages_they_fill(count):
    rows = [row(number) for number in range(count)]
    events = [event(number + 1, "warning", float(number)) for number in range(count)]

    record = run_record(logbook_of(rows, events), 7)

    assert [tuple(one.values()) for one in record["row_actuals"]] == rows
    assert [one["id"] for one in record["events"]] == [event.id for event in events]


def test_a_hold_reaches_from_rest_to_resumption_and_the_last_may_be_open():
    events = [
        event(1, "held", 10.0, "you asked for it"),
        event(2, "warning", 11.0),
        event(3, "resumed", 14.5),
        event(4, "held", 20.0, "lid opened"),
    ]

    assert holds(events) == [
        HoldTime(from_s=10.0, to_s=14.5, because="you asked for it"),
        HoldTime(from_s=20.0, to_s=None, because="lid opened"),
    ]


def test_a_hold_s_reason_is_the_wish_before_it_and_no_older_one():
    events = [
        event(1, "hold", 9.0, "You asked for a hold."),
        event(2, "held", 10.0, "It stands still."),
        event(3, "resumed", 14.5),
        event(4, "held", 20.0, "It stands still."),
    ]

    assert [hold.because for hold in holds(events)] == [
        "You asked for a hold.",
        "It stands still.",
    ]


def test_a_resumption_without_a_hold_is_no_hold():
    assert holds([event(1, "resumed", 3.0)]) == []
