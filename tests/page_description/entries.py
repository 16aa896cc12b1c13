"""How an address is described: one entry each, and what every entry has in common."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

Schema = Mapping[str, Any]

TEXT: Final[Schema] = {"type": "string"}
HTML: Final = "text/html"
JSON: Final = "application/json"
URLENCODED: Final = "application/x-www-form-urlencoded"
MULTIPART: Final = "multipart/form-data"

ANSWERS: Final = {
    200: "The page, or its JSON.",
    302: "It lies elsewhere.",
    303: "Done; this is where to look.",
    304: "As it was.",
    400: "Asked under a name that is not the box's.",
    403: "Not paired, not for this phone, or not from a page of ours.",
    404: "There is no such thing.",
    405: "Not to be asked for like this.",
    409: "Not now; the sentence says why.",
    413: "More than this page takes.",
    415: "Not a form.",
    422: "Something is missing or makes no sense; the sentence says what.",
    429: "Too many tries.",
    502: "The daemon has failed at it.",
    503: "The daemon is away or busy.",
    507: "The memory card is full or can only be read; nothing was kept.",
}
_ALWAYS: Final = (400, 403)
_PRESSED: Final = (303, 405, 413, 415, 507)
_SENTENCE: Final[Schema] = {
    "type": "object",
    "properties": {"sentence": TEXT},
    "required": ["sentence"],
}
_VARIABLE: Final = re.compile(r"{(\w+)}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One method of one address.

    `path` has its variables in braces, their schemas in `where`; `asks` is the form, or what
    stands behind the question mark; `gives` is the kind of answer when all is well.
    """

    method: str
    path: str
    says: str
    role: str = "watch"
    asks: Mapping[str, Schema] = field(default_factory=dict)
    needs: tuple[str, ...] = ()
    where: Mapping[str, Schema] = field(default_factory=dict)
    gives: str = HTML
    answers: tuple[int, ...] = ()
    is_file_form: bool = False


def described(entry: Entry) -> dict[str, Any]:
    """Return the entry as an OpenAPI operation."""
    is_pressed = entry.method == "POST"
    statuses = {200, *_ALWAYS, *entry.answers, *(_PRESSED if is_pressed else ())}
    operation: dict[str, Any] = {
        "summary": entry.says,
        "description": f"For phones paired to {entry.role}." if entry.role else "For everybody.",
        "parameters": [*_path_parameters(entry), *([] if is_pressed else _query(entry))],
        "responses": {str(status): _answer(entry, status) for status in sorted(statuses)},
    }
    if is_pressed:
        operation["requestBody"] = _body(entry)
    return operation


def _path_parameters(entry: Entry) -> list[dict[str, Any]]:
    return [
        {"name": name, "in": "path", "required": True, "schema": entry.where.get(name, TEXT)}
        for name in _VARIABLE.findall(entry.path)
    ]


def _query(entry: Entry) -> list[dict[str, Any]]:
    return [{"name": name, "in": "query", "schema": schema} for name, schema in entry.asks.items()]


def _answer(entry: Entry, status: int) -> dict[str, Any]:
    answer: dict[str, Any] = {"description": ANSWERS[status]}
    if status in (302, 303):
        return answer | {"content": {HTML: {}, JSON: {"schema": _SENTENCE}}}
    if status == 400:
        return answer | {"content": {"text/plain": {}, HTML: {}, JSON: {"schema": _SENTENCE}}}
    if status == 200 and entry.method == "GET":
        return answer | {"content": {entry.gives: {}}}
    return answer | {"content": {HTML: {}, JSON: {"schema": _SENTENCE}}}


def _body(entry: Entry) -> dict[str, Any]:
    form = {
        "type": "object",
        "properties": {"form_token": TEXT, **entry.asks},
        "required": ["form_token", *entry.needs],
    }
    kind = MULTIPART if entry.is_file_form else URLENCODED
    return {"required": True, "content": {kind: {"schema": form}}}
