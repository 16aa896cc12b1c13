"""Which jobs have to stay: those that an etch may still be taken up with."""

from collections.abc import Sequence
from typing import Final

from etchdaemon.errors import EtchdaemonError
from etchdaemon.ports import History
from etchwire.calls.history import Runs, RunSummary

LOOKED_AT: Final = 200  # runs, newest first
UNFINISHED_KEPT: Final = 10  # nobody takes up the eleventh, and a card is no larger than it is


def retained_jobs(history: History) -> frozenset[str] | None:
    """Return the hashes of the jobs that must stay; None while `history` cannot tell."""
    try:
        runs = history.ask(Runs(limit=LOOKED_AT)).runs
    except EtchdaemonError:
        return None
    return frozenset(run.gcode_sha256 for run in _unfinished(runs)[:UNFINISHED_KEPT])


def _unfinished(runs: Sequence[RunSummary]) -> list[RunSummary]:
    """Return what is under way or ended early, not gone on with, on a tile that nobody judged."""
    gone_on_with = {run.continues_run_id for run in runs}
    return [
        run
        for run in runs
        if run.ended != "complete" and run.verdict is None and run.id not in gone_on_with
    ]
