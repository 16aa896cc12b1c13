"""What may be asked of the daemon: one table, from which calls are checked and people told."""

from typing import Final

from etchwire.calls.backup import BACKUP_CALLS
from etchwire.calls.call import AnyCall
from etchwire.calls.catalogue import CATALOGUE_NOTES, CATALOGUE_QUESTIONS
from etchwire.calls.history import HISTORY_CALLS
from etchwire.calls.machine import MACHINE_CALLS
from etchwire.calls.orders import ORDER_NOTES, ORDER_QUESTIONS
from etchwire.calls.time_line import TIME_LINE_CALLS
from etchwire.errors import UnknownMethod

OF_LOGBOOK: Final[tuple[type[AnyCall], ...]] = (
    *HISTORY_CALLS, *CATALOGUE_QUESTIONS, *ORDER_QUESTIONS, *TIME_LINE_CALLS,
    *BACKUP_CALLS,
)  # fmt: skip
METHODS: Final[tuple[type[AnyCall], ...]] = (
    *MACHINE_CALLS, *HISTORY_CALLS, *CATALOGUE_QUESTIONS, *TIME_LINE_CALLS, *CATALOGUE_NOTES,
    *ORDER_QUESTIONS, *ORDER_NOTES, *BACKUP_CALLS,
)  # fmt: skip
AT_ONCE: Final = frozenset(kind.method() for kind in METHODS if kind.is_at_once)
_BY_NAME: Final = {kind.method(): kind for kind in METHODS}


def find_method(name: str) -> type[AnyCall]:
    """Return the call of that name; raise UnknownMethod."""
    try:
        return _BY_NAME[name]
    except KeyError:
        raise UnknownMethod("refused", f"there is no method {name!r:.40}") from None
