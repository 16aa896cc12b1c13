"""Whether the etch of a test card was disturbed, so that its patches may not compare: pure."""

from collections.abc import Sequence
from typing import Final

from etchweb.text.formatting import counted
from etchwire.calls.history import RunEvent, RunRecord
from etchwire.record import HELD, TRIP

NOT_SURE: Final = "Patches etched around that moment may mislead: if in doubt, etch it again."
OVERRIDE: Final = "override"


def disturbances(run: RunRecord, events: Sequence[RunEvent]) -> str:
    """Return what happened to the etch of a test card that its reading may show; else nothing."""
    kinds = [event.kind for event in events]
    holds, trips = kinds.count(HELD), kinds.count(TRIP)
    is_split = run.continues_run_id is not None or run.continued_by_run_id is not None
    told = [
        f"held {counted(holds, 'time', 'times')}" if holds else "",
        f"tripped {counted(trips, 'time', 'times')}" if trips else "",
        "stopped and continued later" if is_split else "",
        "changed in speed or power" if OVERRIDE in kinds else "",
        "not etched to its end" if run.ended != "complete" and not is_split else "",
    ]
    said = ", ".join(one for one in told if one)
    return f"This test card was disturbed: {said}. {NOT_SURE}" if said else ""
