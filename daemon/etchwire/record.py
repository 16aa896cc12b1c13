"""The record of one run, whole: what `run.json` holds, gathered from answers of limited size."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

FORMAT: Final = "etchwarden-run"
VERSION: Final = 1
PAGE_ROWS: Final = 500
HOLD: Final = "hold"  # the kinds of event of a hold: why it is wanted,
HELD: Final = "held"  # that the machine is at rest,
RESUMED: Final = "resumed"  # and that it goes on
TRIP: Final = "trip"  # an interlock was not kept
ROUND: Final = "round"  # somebody answered a watch round
LOOK: Final = "look"  # somebody looked after the end, or nobody did

Ask = Callable[..., Mapping[str, Any]]


def run_record(ask: Ask, run: int) -> dict[str, Any]:
    """Return everything the logbook knows about `run`: sheet, rows, events, holds, comparison.

    `ask` is `DaemonClient.call`, or the logbook's own `ask`.
    """
    events = _events(ask, run)
    return {
        "format": FORMAT,
        "version": VERSION,
        **ask("run", id=run),
        "holds": holds(events),
        "events": events,
        "row_actuals": _rows(ask, run),
    }


def holds(events: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return when the run stood still and why; the last hold may have no end."""
    found: list[dict[str, Any]] = []
    because = None
    for event in events:
        if event["kind"] == HOLD:
            because = event["text"]
        elif event["kind"] == HELD:
            because, told = None, because or event["text"]
            found.append({"from_s": event["at_s"], "to_s": None, "because": told})
        elif event["kind"] == RESUMED and found and found[-1]["to_s"] is None:
            found[-1]["to_s"] = event["at_s"]
    return found


def _rows(ask: Ask, run: int) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    from_row: int | None = 0
    while from_row is not None:
        page = ask("run_rows", id=run, from_row=from_row, limit=PAGE_ROWS)
        rows += [dict(zip(page["columns"], row, strict=True)) for row in page["rows"]]
        from_row = page["next_row"]
    return rows


def _events(ask: Ask, run: int) -> list[dict[str, Any]]:
    events: list[dict[str, Any]] = []
    after: int | None = 0
    while after is not None:
        page = ask("run_events", id=run, after=after, limit=PAGE_ROWS)
        events += page["events"]
        after = page["next_after"]
    return events
