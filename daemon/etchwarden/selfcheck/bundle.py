"""A bundle for asking for help: what the self-check found, and nothing that says whose board it is.

No names, addresses, photos or secrets: what is written is chosen here, entry by entry. Sentences
that may quote what somebody has written are left out; from the others, paths and names are.
"""

import json
import re
from collections.abc import Iterable, Mapping
from typing import Final

from etchwarden.selfcheck.facts import BoardFacts, MachineFacts, PageFacts
from etchwarden.selfcheck.findings import CheckResult
from etchwire.calls.json_values import to_json_value

# By what, and by which word it is replaced; in this order.
_PRIVATE: Final = (
    (re.compile(r"(?<![\w.])/[^\s,;:“”\"']+"), "a path"),
    (re.compile(r"\b\d{1,3}(?:\.\d{1,3}){3}\b"), "an address"),
    (re.compile(r"(?<![\w:])(?:[0-9A-Fa-f]{0,4}:){2,7}[0-9A-Fa-f]{0,4}(?![\w:])"), "an address"),
    (re.compile(r"\S+@\S+"), "somebody"),
)
_OF_BOARD: Final = (
    "version", "python", "current", "has_previous", "is_cut_short", "is_clock_synchronised",
    "free_bytes", "size_bytes", "is_read_only", "card_worn_tenths", "file_system_errors",
    "is_undervolted", "was_undervolted", "tells_of_outputs", "kept_outputs", "chips",
    "has_pin_library", "limits_memory", "announces_name",
)  # fmt: skip
_OF_MACHINE: Final = (
    "fault_reasons", "is_file_for_all", "is_port_there", "may_open_port", "pins", "output_pins",
    "has_head", "watches_only_because", "daemon_is_away", "controller_fault", "socket_mode",
    "book", "book_is_unread", "books_set_aside", "newest_backup",
)  # fmt: skip
_OF_STATUS: Final = ("state", "logbook_trouble")
_OF_LINK: Final = ("link", "firmware", "controller_state")
_OF_SETTINGS: Final = ("is_read", "firmware", "settings", "refusals", "warnings")


def bundle_of(
    board: BoardFacts,
    machines: Iterable[MachineFacts],
    page: PageFacts,
    found: Iterable[tuple[str, str, CheckResult]],
) -> str:
    """Return the bundle as JSON text; machines go by number."""
    machines = tuple(machines)
    numbers = {machine.name: f"machine {number}" for number, machine in enumerate(machines, 1)}
    words = {**dict.fromkeys(page.machines, "another machine"), **numbers}
    bundle: object = {
        "board": _some(board, _OF_BOARD),
        "machines": {numbers[machine.name]: _machine(machine) for machine in machines},
        "page": {
            "fault_reasons": page.fault_reasons,
            "status_code": page.status_code,
            "is_away": page.is_away,
            "machines": len(page.machines),
        },
        "findings": [_finding(numbers.get(of, of), check, one) for of, check, one in found],
    }
    bundle = _nameless(bundle, {**words, board.host_name: "the board"})
    return json.dumps(bundle, indent=1, ensure_ascii=False, sort_keys=True)


def _finding(of: str, check: str, finding: CheckResult) -> dict[str, str | None]:
    sentence = None if finding.quotes else finding.sentence
    return {"of": of, "check": check, "grade": finding.grade.name, "sentence": sentence}


def _machine(machine: MachineFacts) -> dict[str, object]:
    table: dict[str, object] = _some(machine, _OF_MACHINE)
    table["is_chip_there"] = machine.chip in machine.chips
    if machine.settings is not None:
        table["settings"] = _some(machine.settings, _OF_SETTINGS)
        # What follows the colon is the owner's to write.
        table["version"] = machine.settings.version.partition(":")[0]
    if machine.status is not None:
        table["status"] = _some(machine.status, _OF_STATUS) | {
            "machine": _some(machine.status.machine, _OF_LINK)
        }
    return table


def _some(value: object, names: Iterable[str]) -> dict[str, object]:
    """Return entries of `value` as JSON values, by their names."""
    return {name: to_json_value(getattr(value, name)) for name in names}


def _nameless(value: object, words: Mapping[str, str]) -> object:
    """Return the value with what is private in its texts replaced; keys are ours."""
    if isinstance(value, str):
        for pattern, word in _PRIVATE:
            value = pattern.sub(word, value)
        for name, word in words.items():
            if name:
                value = re.sub(rf"\b{re.escape(name)}\b", word, value)
        return value
    if isinstance(value, Mapping):
        return {key: _nameless(inner, words) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_nameless(inner, words) for inner in value]
    return value
