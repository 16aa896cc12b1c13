"""The ways of making dots, called by what one sees of them; records and sheets have other keys."""

from collections.abc import Mapping
from typing import Final

NAMES: Final[Mapping[str, str]] = {
    "jarvis": "smooth",
    "floyd-steinberg": "crisp",
    "stucki": "firm",
    "threshold": "lettering",
    "test-card": "test-card",
}
_KEYS: Final = {name: key for key, name in NAMES.items()}


def halftone_name(key: str) -> str:
    """Return what a person calls the halftone of a record; one that is not known stays as it is."""
    return NAMES.get(key, key)


def halftone_key(said: str) -> str:
    """Return the key of a halftone by its name; anything else stays as it was said."""
    return _KEYS.get(said, said)
