"""What a box throws away to keep its card from filling: jobs, drafts, pictures, photos.

Records never. By age, number and size, the oldest first; the figures are one table. Ages hang on
the wall's clock, which stands at 1970 on a board without a battery, jumps when the network comes,
and can be set wrong: so the newest few of each kind stay whatever the clock says, and what is
stamped with a time that cannot be is stamped anew.
"""

import os
import shutil
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

DAY_S: Final = 86400.0
EARLIEST_S: Final = 1_735_689_600.0  # 2025-01-01: no clock that is set says less
MB: Final = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """How much of one kind is kept; `spared` is how many stay whatever their age."""

    days: float
    total_mb: float
    number: int
    spared: int


JOBS: Final = Allowance(days=90, total_mb=400, number=24, spared=4)
DRAFTS: Final = Allowance(days=7, total_mb=300, number=11, spared=2)
# Of orders: what was shown to a customer, until the tile is delivered and for two years after.
ORDERED_DRAFTS: Final = Allowance(days=730, total_mb=1500, number=600, spared=50)
PICTURES: Final = Allowance(days=730, total_mb=300, number=3000, spared=50)
TILE_PHOTOS: Final = Allowance(days=1825, total_mb=500, number=3000, spared=50)
TEST_TILES: Final = Allowance(days=730, total_mb=300, number=200, spared=4)
# Photo and settings of what was loaded: a delivered tile may be ordered again for two years.
MADE_FROM: Final = Allowance(days=730, total_mb=1500, number=3000, spared=50)
# What a power cut left; after a day, because somebody may just be writing it.
HALF_WRITTEN: Final = Allowance(days=1, total_mb=300, number=100, spared=0)


@dataclass(frozen=True, slots=True)
class Kept:
    """Something that is kept: the files or folders of it, as one."""

    paths: tuple[Path, ...]
    stamped_at_s: float
    size_bytes: int


def surplus(
    kept: Iterable[Kept],
    allowance: Allowance,
    *,
    now_s: float,
    needed: frozenset[Path] = frozenset(),
) -> list[Kept]:
    """Return what has become too old or too much, the oldest first; nothing of what is `needed`."""
    newest_first = sorted(kept, key=lambda one: one.stamped_at_s, reverse=True)
    gone: list[Kept] = []
    number, size_bytes = 0, 0
    for place, one in enumerate(newest_first):
        is_old = place >= allowance.spared and now_s - one.stamped_at_s > allowance.days * DAY_S
        is_over = (
            number >= allowance.number or size_bytes + one.size_bytes > allowance.total_mb * MB
        )
        if (is_old or (is_over and place > 0)) and needed.isdisjoint(one.paths):
            gone.append(one)
        else:
            number, size_bytes = number + 1, size_bytes + one.size_bytes
    return gone[::-1]


def is_credible(stamped_at_s: float, *, now_s: float) -> bool:
    """Return whether a clock that is right now may have been right then."""
    return now_s < EARLIEST_S or EARLIEST_S <= stamped_at_s <= now_s + DAY_S


def look_at(paths: Sequence[Path], *, now_s: float) -> Kept:
    """Return what is known of one that is kept; a stamp that cannot be becomes today's."""
    stamped_at_s, size_bytes = 0.0, 0
    for path in paths:
        with suppress(OSError):
            stamped_at_s = max(stamped_at_s, path.stat().st_mtime)
            size_bytes += _size_bytes(path)
    if not is_credible(stamped_at_s, now_s=now_s):
        stamped_at_s = now_s
        for path in paths:
            with suppress(OSError):
                os.utime(path, (now_s, now_s))
    return Kept(tuple(paths), stamped_at_s, size_bytes)


def _size_bytes(path: Path) -> int:
    if not path.is_dir():
        return path.stat().st_size
    return sum(file.stat().st_size for file in path.rglob("*") if file.is_file())


def throw_out(
    groups: Iterable[Sequence[Path]],
    allowance: Allowance,
    *,
    now_s: float,
    needed: frozenset[Path] = frozenset(),
) -> None:
    """Remove what has become too old or too much; each group is files or folders that go as one."""
    kept = [look_at(paths, now_s=now_s) for paths in groups]
    for one in surplus(kept, allowance, now_s=now_s, needed=needed):
        for path in one.paths:
            if path.is_dir():
                shutil.rmtree(path, ignore_errors=True)
            else:
                with suppress(OSError):
                    path.unlink()
