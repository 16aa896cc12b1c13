"""The scenarios that come with the program, by name: a folder for each group of them."""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from etchpractice.scenario.reader import unknown

SHELF: Final = Path(__file__).resolve().parents[1] / "scenarios"
GROUPS: Final = {  # folder: what a person is shown, in that order
    "link": "The cable and the controller",
    "box": "Lid, fan, fire, and the program itself",
    "people": "What people do, and when",
    "tile": "Tile, paint, wiping and the laser's age",
}


class NoSuchScenario(LookupError):
    """No scenario of that name comes with the program; the message says which is near."""


@dataclass(frozen=True, slots=True)
class Shelved:
    """A scenario as a list shows it: `about` and `known` are a sentence or two each."""

    name: str
    group: str
    about: str
    known: str
    path: Path


@cache
def shelved() -> tuple[Shelved, ...]:
    """Return every scenario that comes with the program, in the order in which they are shown."""
    return tuple(
        _shelved(path, group) for group in GROUPS for path in sorted((SHELF / group).glob("*.toml"))
    )


def _shelved(path: Path, group: str) -> Shelved:
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    return Shelved(path.stem, group, table["about"], table.get("known", ""), path)


def scenario_called(name: str) -> Path:
    """Return the file of the scenario called `name`; raise NoSuchScenario."""
    paths = {one.name: one.path for one in shelved()}
    if name not in paths:
        raise NoSuchScenario(f"The scenario “{name}” is {unknown(name, tuple(paths))}")
    return paths[name]
