"""Readings: what a card showed, as values to be kept."""

import json
from dataclasses import asdict, dataclass
from typing import Any, Final, Self

from etchproof.errors import UnreadableCard

VERSION: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchReading:
    """What one patch showed, relative to bare tile; `spread` is between photos, None for one."""

    cell: str
    part: str
    reflectance: float
    lightness: float
    unevenness: float
    photos: int
    spread: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoRead:
    """One photo that was read: which file, and how well it served."""

    name: str
    sha256: str
    px_per_mm: float
    blur_mm: float
    light_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HairlineShift:
    """One pair as seen: `shift_mm` is how far the lower one lies right of the upper one."""

    number: int
    offset_mm: float
    feed_mm_per_min: float
    true_feed_mm_per_min: float
    shift_mm: float

    @property
    def apart_mm(self) -> float:
        """How far the two directions land apart, which the offset of a pair that meets undoes."""
        return self.offset_mm - self.shift_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What a card showed; a register card has hairlines instead of patches."""

    card_number: int
    kind: str
    photos: tuple[PhotoRead, ...]
    patches: tuple[PatchReading, ...] = ()
    hairlines: tuple[HairlineShift, ...] = ()

    def of(self, cell: str, part: str) -> PatchReading | None:
        """Return what a patch showed, or None where the card has no such patch."""
        return next((p for p in self.patches if (p.cell, p.part) == (cell, part)), None)

    def to_json(self) -> str:
        """Return the reading as the JSON text that `from_json` reads."""
        return json.dumps({"version": VERSION, **asdict(self)}, allow_nan=False)

    @classmethod
    def from_json(cls, text: str | bytes) -> Self:
        """Read a reading; raise UnreadableCard for anything that is not one."""
        try:
            table: dict[str, Any] = json.loads(text)
            if table.pop("version") != VERSION:
                raise UnreadableCard("the reading was stored by another version of this program")
            parts = (("photos", PhotoRead), ("patches", PatchReading), ("hairlines", HairlineShift))
            for name, kind in parts:
                table[name] = tuple(kind(**entry) for entry in table[name])
            return cls(**table)
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
            raise UnreadableCard(f"this is no stored reading: {error}") from error
