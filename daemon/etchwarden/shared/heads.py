"""Heads as the command line names them: one of the practice heads, or a file about a real one."""

from collections.abc import Mapping
from pathlib import Path

from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import ASSUMED_SPOT_MM, Head
from etchwire.errors import UnreadableSheet
from etchwire.toml_text import read_toml


def find_head(name: str) -> Head:
    """Return the practice head of this name, or the one that the TOML file `name` describes.

    That may be a machine's own file, with the head as one of its tables.

    Raise UnreadableSheet, with a sentence, when there is neither.
    """
    if name in PRACTICE_HEADS:
        return PRACTICE_HEADS[name]
    try:
        table = read_toml(Path(name).read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise UnreadableSheet(
            f"there is no laser {name!r}: name a file that describes yours, or one of "
            f"{', '.join(PRACTICE_HEADS)}"
        ) from error
    except OSError as error:
        raise UnreadableSheet(f"{name} cannot be read ({error.strerror})") from error
    except ValueError as error:
        raise UnreadableSheet(f"{name} does not describe a laser as TOML: {error}") from error
    try:
        head = table.get("head")  # a machine's own file has it as a table
        return Head.from_table(_with_spot(head if isinstance(head, dict) else table))
    except UnreadableSheet as error:
        raise UnreadableSheet(f"{name}: {error}") from error


def _with_spot(described: Mapping[str, object]) -> dict[str, object]:
    """Return a laser's table; a spot that it does not state is assumed until a focus card."""
    if any(name.startswith("spot_") for name in described):
        return {"is_spot_stated": True, **described}
    assumed = {"spot_x_mm": ASSUMED_SPOT_MM, "spot_y_mm": ASSUMED_SPOT_MM}
    return {**described, **assumed, "is_spot_measured": False, "is_spot_stated": False}
