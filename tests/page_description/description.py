"""The whole description, put together from the entries of every subject."""

from typing import Any, Final

from page_description.describing import DESCRIBING
from page_description.entries import Entry, described
from page_description.machine import MACHINE
from page_description.making import MAKING
from page_description.ordering import ORDERING
from page_description.playing import PLAYING
from page_description.records import RECORDS
from page_description.watching import PAIRING, WATCHING

ENTRIES: Final[tuple[Entry, ...]] = (
    *WATCHING, *RECORDS, *MAKING, *DESCRIBING, *MACHINE, *PAIRING, *PLAYING, *ORDERING,
)  # fmt: skip


def description() -> dict[str, Any]:
    """Return the OpenAPI 3.1 description of the page of one machine."""
    paths: dict[str, dict[str, Any]] = {}
    for entry in ENTRIES:
        paths.setdefault(entry.path, {})[entry.method.lower()] = described(entry)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "The page of an Etchwarden box",
            "version": "1",
            "description": (
                "Every change needs an Origin that is the page's own, and the `form_token` of a "
                "page made for the same phone. Who asks for application/json gets it."
            ),
        },
        "paths": paths,
        "security": [{"phone": []}],
        "components": {
            "securitySchemes": {"phone": {"type": "apiKey", "in": "cookie", "name": "etchwarden"}}
        },
    }
