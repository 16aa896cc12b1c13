"""Whether the extraction's filter is due: said before an etch, never in one."""

from etchweb.daemon.protocol import Daemon
from etchwire.calls.catalogue import Filter
from etchwire.calls.snapshot import Snapshot
from etchwire.catalogue.extraction_filter import SECONDS_PER_HOUR, filter_note
from etchwire.errors import DaemonAbsent, Refused

_BETWEEN_ETCHES = ("idle", "loaded", "armed", "ended")


def filter_due(daemon: Daemon, snapshot: Snapshot | None) -> str:
    """Return what to say of the filter; empty where it is not due, or nobody can say."""
    if snapshot is None or snapshot.state not in _BETWEEN_ETCHES:
        return ""
    try:
        found = daemon.ask(Filter())
    except (DaemonAbsent, Refused):
        return ""
    return filter_note(found.beam_since_change_s / SECONDS_PER_HOUR, found.limit_h)
