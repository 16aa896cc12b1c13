"""What may be asked of the daemon: one table, from which calls are checked and people told.

Its lines stand in one module a subject.
"""

from typing import Final

from etchdaemon.rpc.backup_methods import KEEPING_METHODS
from etchdaemon.rpc.catalogue_methods import CRAFT_NOTES, CRAFT_QUESTIONS
from etchdaemon.rpc.history_methods import HISTORY_METHODS
from etchdaemon.rpc.machine_methods import MACHINE_METHODS
from etchdaemon.rpc.method import Method
from etchwire.errors import UnknownMethod

METHODS: Final = (
    *MACHINE_METHODS, *HISTORY_METHODS, *CRAFT_QUESTIONS, *CRAFT_NOTES, *KEEPING_METHODS
)  # fmt: skip

OF_LOGBOOK: Final = frozenset(
    method.name for method in (*HISTORY_METHODS, *CRAFT_QUESTIONS, *KEEPING_METHODS)
)
NOTED: Final = frozenset(method.name for method in CRAFT_NOTES)
AT_ONCE: Final = frozenset(method.name for method in METHODS if method.is_at_once)
_BY_NAME: Final = {method.name: method for method in METHODS}


def find_method(name: str) -> Method:
    """Return the method of that name; raise UnknownMethod."""
    try:
        return _BY_NAME[name]
    except KeyError:
        raise UnknownMethod("refused", f"there is no method {name!r:.40}") from None


def methods_table() -> str:
    """Return the table as METHODS.md shows it."""
    lines = ["| method | takes | may | does |", "| --- | --- | --- | --- |"]
    for method in METHODS:
        takes = ", ".join([*map(str, method.parameters), *method.files]) or "–"
        lines.append(f"| `{method.name}` | {takes} | {method.right} | {method.text} |")
    return "\n".join(lines)
