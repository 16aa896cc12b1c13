"""What holds an etch or ended it, and the one next step: pure, values in, words out."""

from collections.abc import Collection, Sequence
from typing import Final

from etchweb.text.causes import cause_of, is_good_again
from etchweb.text.formatting import as_sentence
from etchweb.text.view import View
from etchwire.calls.history import RunEvent
from etchwire.calls.interlock_report import InterlockReport, TripView
from etchwire.calls.snapshot import Snapshot
from etchwire.record import RESUMED, TRIP

NO_CAUSE: Final[View] = {"cause_title": "", "because": "", "next_step": "", "stops": []}

PRESS_RESET: Final = "Press Reset."
RESET_AT_MACHINE: Final = (
    "Press the button at the machine (where there is none, open and close the lid), then Reset "
    "within a minute."
)
PRESS_RESUME: Final = "Press Resume."
OTHERS_RESUME: Final = "Press Resume on a phone that may operate."
_WITH_A_CAUSE: Final = ("stopped", "failed")


def cause_part(snapshot: Snapshot, offered: Collection[str]) -> View:
    """Return the page's entries about what holds or ended the etch, or keeps it from starting."""
    because = reason_of(snapshot)
    if not because and not snapshot.interlocks.trips:
        return {}
    return {
        "cause_title": _title(snapshot),
        "because": as_sentence(because),
        "next_step": _next_step(snapshot, offered),
        "stops": [_stop(trip, snapshot.interlocks) for trip in snapshot.interlocks.trips],
    }


def reason_of(snapshot: Snapshot) -> str:
    """Return the daemon's word for why the run is held or ended short; mostly nothing."""
    run = snapshot.run
    if run is None:
        return ""
    if snapshot.state == "ended":
        return (run.because or "") if run.ended in _WITH_A_CAUSE else ""
    return (run.held_because or "") if snapshot.state == "held" else ""


def past_causes(
    events: Sequence[RunEvent], report: InterlockReport
) -> tuple[list[View], dict[str, str]]:
    """Return the trips since the run last went on that were reset, and when each trip came.

    The times are by the names of the interlocks, as ISO 8601 in UTC.
    """
    at_utc: dict[str, str] = {}
    for event in events:
        if event.kind == RESUMED:
            at_utc.clear()
        elif event.kind == TRIP and isinstance(name := event.details.get("rule"), str):
            at_utc[name] = event.at_utc
    waiting = {trip.name for trip in report.trips}
    past: list[View] = [
        {"was": cause_of(name).was, "mended": cause_of(name).mended, "at_utc": when}
        for name, when in at_utc.items()
        if name not in waiting
    ]
    return past, at_utc


def is_told_by(events: Sequence[RunEvent], because: str) -> bool:
    """Return whether `because` is the sentence of a trip among `events`."""
    return any(event.kind == TRIP and as_sentence(event.text) == because for event in events)


def _title(snapshot: Snapshot) -> str:
    if snapshot.state == "held":
        return "What holds it"
    return "Why it stopped" if reason_of(snapshot) else "What is wrong"


def _stop(trip: TripView, report: InterlockReport) -> View:
    cause, is_mended = cause_of(trip.name), is_good_again(trip, report)
    return {
        "name": trip.name,
        "sentence": as_sentence(trip.sentence),
        "was": cause.was,
        "mended": cause.mended if is_mended else "",
    }


def _next_step(snapshot: Snapshot, offered: Collection[str]) -> str:
    report = snapshot.interlocks
    for trip in report.trips:
        if not is_good_again(trip, report):
            return cause_of(trip.name).next_step
    if report.trips:
        at_machine = any(trip.is_reset_at_machine for trip in report.trips)
        return RESET_AT_MACHINE if at_machine and not report.is_somebody_there else PRESS_RESET
    run = snapshot.run
    if snapshot.state != "held" or run is None:
        return ""
    if run.why_not_resume:
        return as_sentence(run.why_not_resume)
    step = PRESS_RESUME if "resume" in offered else OTHERS_RESUME
    return " ".join(filter(None, (step, as_sentence(run.late_end or ""))))
