"""That a job which is not loaded yet would end after the shop's closing time, if it began now."""

from dataclasses import dataclass

from etchweb.daemon.protocol import Daemon
from etchweb.text.formatting import as_sentence
from etchwire.calls.machine import Confirmations
from etchwire.errors import DaemonAbsent, Refused


@dataclass(frozen=True, slots=True)
class LateEnd:
    """What the daemon says of the end; `is_forbidden`: it could not be started, whoever stays."""

    sentence: str
    is_forbidden: bool


def late_end(daemon: Daemon, predicted_s: float | None) -> LateEnd | None:
    """Return what to say before a job that lasts so long is loaded; None where there is nothing.

    A daemon that cannot be asked keeps nobody from preparing.
    """
    if not predicted_s:
        return None
    try:
        asked = daemon.ask(Confirmations(lasts_s=predicted_s))
    except (DaemonAbsent, Refused):
        return None
    said = asked.too_late or asked.stays
    return LateEnd(as_sentence(said), bool(asked.too_late)) if said else None
