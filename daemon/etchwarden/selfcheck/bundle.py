"""A bundle for asking for help: what the self-check found, and nothing that says whose board it is.

No names, addresses, photos or secrets: what is written is chosen here, entry by entry.
"""

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any, Final

from etchwarden.selfcheck.facts import BoardFacts, MachineFacts, PageFacts
from etchwarden.selfcheck.findings import Finding

_ADDRESS: Final = re.compile(r"\b\d{1,3}(?:\.\d{1,3}){3}\b")
_SERIAL: Final = re.compile(r"/dev/serial/\S+")
_OF_BOARD: Final = (
    "version", "python", "current", "has_previous", "is_clock_synchronised", "free_bytes",
    "size_bytes", "is_read_only", "card_worn_tenths", "file_system_errors", "is_undervolted",
    "was_undervolted", "tells_of_outputs", "kept_outputs", "chips", "has_pin_library",
    "limits_memory", "announces_name",
)  # fmt: skip
_OF_MACHINE: Final = (
    "is_port_there", "may_open_port", "chip", "pins", "output_pins", "has_head",
    "watches_only_because", "settings", "socket_mode", "book", "books_set_aside",
)  # fmt: skip
_OF_STATUS: Final = ("state", "logbook_trouble")
_OF_LINK: Final = ("link", "firmware", "controller_state")


def bundle_of(
    board: BoardFacts,
    machines: Iterable[MachineFacts],
    page: PageFacts,
    found: Iterable[tuple[str, str, Finding]],
) -> str:
    """Return the bundle as JSON text; machines go by number."""
    machines = tuple(machines)
    names = {machine.name: f"machine {number}" for number, machine in enumerate(machines, 1)}
    bundle = {
        "board": _some(asdict(board), _OF_BOARD),
        "machines": {names[machine.name]: _machine(machine) for machine in machines},
        "page": {"status_code": page.status_code, "machines": len(page.machines)},
        "findings": [
            {"of": of, "check": name, "grade": finding.grade.name, "sentence": finding.sentence}
            for of, name, finding in found
        ],
    }
    text = json.dumps(bundle, indent=1, ensure_ascii=False, sort_keys=True)
    return _nameless(text, {**names, board.host_name: "the board"})


def _machine(machine: MachineFacts) -> dict[str, Any]:
    told = _some(asdict(machine), _OF_MACHINE)
    if machine.status is not None:
        told["status"] = _some(machine.status, _OF_STATUS) | {
            "machine": _some(machine.status["machine"], _OF_LINK)
        }
    return told


def _some(table: Mapping[str, Any], names: Iterable[str]) -> dict[str, Any]:
    return {name: table[name] for name in names if name in table}


def _nameless(text: str, names: Mapping[str, str]) -> str:
    text = _SERIAL.sub("a serial port", _ADDRESS.sub("an address", text))
    for name, word in names.items():
        if name:
            text = re.sub(rf"\b{re.escape(name)}\b", word, text)
    return text
