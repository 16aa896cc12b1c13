"""The record of one run, whole: what `run.json` holds, gathered from answers of limited size."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Protocol, TypeVar

from etchwire.calls.call import Call
from etchwire.calls.history import Run, RunEvent, RunEvents, RunRows, RunRowsPage
from etchwire.calls.json_values import to_json_value

_Answer = TypeVar("_Answer")

FORMAT: Final = "etchwarden-run"
VERSION: Final = 1
HOLD: Final = "hold"  # the kinds of event of a hold: why it is wanted,
HELD: Final = "held"  # that the machine is at rest,
RESUMED: Final = "resumed"  # and that it goes on
TRIP: Final = "trip"  # an interlock was not kept
ROUND: Final = "round"  # somebody answered a watch round
LOOK: Final = "look"  # somebody looked after the end, or nobody did


class Ask(Protocol):
    """Whoever answers: `DaemonClient.ask`, or the logbook's own."""

    def __call__(self, call: Call[_Answer], /) -> _Answer:
        """Return the answer to `call`."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldTime:
    """When a run stood still and why; the last hold may have no end."""

    from_s: float
    to_s: float | None
    because: str


def run_record(ask: Ask, run: int) -> dict[str, object]:
    """Return everything the logbook knows about `run`: sheet, rows, events, holds, comparison."""
    events = events_of(ask, run)
    return {
        "format": FORMAT,
        "version": VERSION,
        **to_json_value(ask(Run(id=run))),
        "holds": to_json_value(holds(events)),
        "events": to_json_value(events),
        "row_actuals": [row._asdict() for page in row_pages(ask, run) for row in page.rows],
    }


def holds(events: Sequence[RunEvent]) -> list[HoldTime]:
    """Return when the run stood still and why, by its `events`."""
    found: list[HoldTime] = []
    because = None
    for event in events:
        if event.kind == HOLD:
            because = event.text
        elif event.kind == HELD:
            found.append(HoldTime(from_s=event.at_s, to_s=None, because=because or event.text))
            because = None
        elif event.kind == RESUMED and found and found[-1].to_s is None:
            found[-1] = replace(found[-1], to_s=event.at_s)
    return found


def row_pages(ask: Ask, run: int) -> Iterator[RunRowsPage]:
    """Yield the rows of `run` page by page, from the top."""
    from_row: int | None = 0
    while from_row is not None:
        page = ask(RunRows(id=run, from_row=from_row))
        yield page
        from_row = page.next_row


def events_of(ask: Ask, run: int) -> list[RunEvent]:
    """Return all events of `run`, in their order."""
    events: list[RunEvent] = []
    after: int | None = 0
    while after is not None:
        page = ask(RunEvents(id=run, after=after))
        events += page.events
        after = page.next_after
    return events
