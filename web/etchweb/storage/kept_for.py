"""The retention table of the page: how long each kind is kept, as the shop has chosen it.

Chosen are years only. Number and size stay as they are, because they keep the box's storage from
filling; what is in `etchwire.retention` holds until something else is chosen.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from etchweb.server.forms import FormUnfit
from etchwire.retention import (
    MADE_FROM,
    ORDERED_DRAFTS,
    PICTURES,
    TEST_TILES,
    TILE_PHOTOS,
    Allowance,
)
from etchwire.storing import write_whole

KEPT_NAME: Final = "kept-for.json"  # inside the page's own folder
DAYS_PER_YEAR: Final = 365
CHOICES: Final[Mapping[str, float]] = {
    "for 1 year": 1, "for 2 years": 2, "for 5 years": 5, "for ever": math.inf,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class KeptKind:
    """One kind of what the page keeps: its name in forms and files, its words, its allowance."""

    name: str
    says: str
    allowance: Allowance


KEPT_KINDS: Final = (
    KeptKind(
        "made_from", "Photo and settings of what was loaded, to etch the same again", MADE_FROM
    ),
    KeptKind("ordered_drafts", "Pictures of orders, as the customer saw them", ORDERED_DRAFTS),
    KeptKind("pictures", "Pictures of etches in the logbook", PICTURES),
    KeptKind("tile_photos", "Photos of wiped tiles", TILE_PHOTOS),
    KeptKind("test_tiles", "Photos of test cards; what was read of them stays", TEST_TILES),
)


def allowances(page_folder: Path) -> dict[str, Allowance]:
    """Return the allowance of each kind by its name, with the years that the shop has chosen."""
    words = chosen_words(page_folder)
    return {
        kind.name: replace(kind.allowance, days=CHOICES[words[kind.name]] * DAYS_PER_YEAR)
        for kind in KEPT_KINDS
    }


def chosen_words(page_folder: Path) -> dict[str, str]:
    """Return the choice of each kind by its name; its default where none can be read."""
    kept = _table_at(page_folder / KEPT_NAME)
    return {
        kind.name: kept[kind.name] if kept.get(kind.name) in CHOICES else _default(kind)
        for kind in KEPT_KINDS
    }


def choose(page_folder: Path, form: Mapping[str, str]) -> None:
    """Keep the choices of a form; raise FormUnfit where one is missing or none of CHOICES."""
    chosen = {kind.name: form.get(kind.name, "") for kind in KEPT_KINDS}
    for kind in KEPT_KINDS:
        if chosen[kind.name] not in CHOICES:
            raise FormUnfit(f"{kind.says}: choose how long.")
    write_whole(page_folder / KEPT_NAME, json.dumps(chosen))


def _default(kind: KeptKind) -> str:
    years = kind.allowance.days / DAYS_PER_YEAR
    return next(word for word, choice in CHOICES.items() if choice == years)


def _table_at(path: Path) -> dict[str, str]:
    try:
        table = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return {}
    if not isinstance(table, dict):
        return {}
    return {name: word for name, word in table.items() if isinstance(word, str)}
