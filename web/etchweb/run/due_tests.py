"""Whether the recipe on the bench should be tested again, as the advice on its pair has it."""

import json
from dataclasses import dataclass

from etchproof.drift.advice import advice_on
from etchweb.daemon.protocol import Daemon
from etchwire.calls.history import Runs
from etchwire.calls.snapshot import Snapshot
from etchwire.calls.time_line import History
from etchwire.errors import DaemonAbsent, Refused

_BEFORE_AN_ETCH = ("idle", "loaded", "armed")


@dataclass(frozen=True, slots=True, kw_only=True)
class DueTests:
    """The advice on one laser on one tile and paint; `pair` is their key on forms."""

    pair: str
    advice: tuple[str, ...]


def due_tests(daemon: Daemon, snapshot: Snapshot | None) -> DueTests | None:
    """Return what is due before the next etch; None where nothing is, or nobody can say.

    The pair is the loaded job's, else that of the last etch. A test card tests by itself.
    """
    if snapshot is None or snapshot.state not in _BEFORE_AN_ETCH:
        return None
    job = snapshot.job
    if job is not None and job.card is not None:
        return None
    try:
        of_pair = job or next(iter(daemon.ask(Runs(limit=1)).runs), None)
        if of_pair is None:
            return None
        history = daemon.ask(History(head=of_pair.head, surface=of_pair.surface))
    except (DaemonAbsent, Refused):
        return None
    if history.recipe is None:
        return None
    advice = tuple(due.advice for due in advice_on(history))
    pair = json.dumps([of_pair.head, of_pair.surface])
    return DueTests(pair=pair, advice=advice) if advice else None
