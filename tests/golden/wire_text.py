"""What goes onto the wire as a file that people can read, and what differs from day to day."""

import json
import re
from collections.abc import Mapping
from typing import Any, Final

WIDTH: Final = 100

# Written for what no two machines or days have alike. The last row: SQLite's own sums, and numpy's,
# differ in their last digits from version to version.
NORMALISED: Final[Mapping[str, tuple[str, str]]] = {
    "version of this program": (r'"software":"[^"]+"', '"software":"VERSION"'),
    "folder of the test": (r'"folder":"[^"]+"', '"folder":"FOLDER"'),
    "room on this disk": (r'"free_bytes":\d+', '"free_bytes":12000000000'),
    "size of a backup": (r'"bytes":\d+', '"bytes":4096'),
    "hash of a table that holds the version": (r'"sha256": "[0-9a-f]{64}"', '"sha256": "HASH"'),
    "last digits": (r"-?\d+\.\d{12,}(?:e[+-]\d+)?", ""),
}


def normalised(line: bytes) -> str:
    """Return an encoded line without its line feed, with what NORMALISED names written alike."""
    return written_alike(line.decode().removesuffix("\n"))


def written_alike(text: str) -> str:
    """Return `text` with what NORMALISED names written alike."""
    for name, (pattern, written) in NORMALISED.items():
        if name == "last digits":
            text = re.sub(pattern, _nine_digits, text)
        else:
            text = re.sub(pattern, written, text)
    return text


def _nine_digits(found: re.Match[str]) -> str:
    return repr(float(f"{float(found[0]):.9g}"))


def is_as_encoded(text: str) -> bool:
    """Return whether reading `text` and writing it as the wire does gives the same text again.

    Only then does the readable form hold all of it: the order of the keys, 1 and 1.0 apart, no
    key twice, no blank.
    """
    again = json.dumps(json.loads(text), ensure_ascii=False, separators=(",", ":"))
    return again == text


def readable(value: Any, indent: int = 0) -> str:
    """Return a JSON value over several lines; what fits into one stands in one."""
    plain = json.dumps(value, ensure_ascii=False)
    if len(plain) + indent <= WIDTH or not isinstance(value, (dict, list)):
        return plain
    pad = " " * (indent + 1)
    if isinstance(value, list):
        parts = [pad + readable(one, indent + 1) for one in value]
        opening, closing = "[]"
    else:
        parts = [
            f"{pad}{json.dumps(key)}: {readable(one, indent + 1)}" for key, one in value.items()
        ]
        opening, closing = "{}"
    return "\n".join([opening, ",\n".join(parts), " " * indent + closing])


def differences(base: Any, other: Any) -> Any:
    """Return what `other` has otherwise than `base`: of tables, the entries that differ.

    A table with other keys, or in another order, is given whole under `instead`, and so is a list
    of another length; else a list of tables is a table of its places.
    """
    if isinstance(base, dict) and isinstance(other, dict) and list(base) == list(other):
        pairs = {key: (base[key], other[key]) for key in base}
    elif _is_list_of_tables(base) and _is_list_of_tables(other) and len(base) == len(other):
        pairs = {str(place): pair for place, pair in enumerate(zip(base, other, strict=True))}
    else:
        return {"instead": other} if isinstance(base, (dict, list)) else other
    return {
        key: differences(*pair)
        for key, pair in pairs.items()
        if json.dumps(pair[0]) != json.dumps(pair[1])  # to which 1 and 1.0 are two
    }


def _is_list_of_tables(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, dict) for one in value)
