"""The sidecar index: places in a file from which its progress can be told and its way resumed.

Our own jobs have theirs in the sheet, row by row. For any other file this one has an entry at
least once a second of its predicted time, and wherever the head sets out in the dark; each
holds everything the controller knows there. Entries in the dark become the sheet's rows.
"""

import json
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from pathlib import Path
from typing import Final

import numpy as np

from etchpath.arrays import Flags, Floats
from etchpath.language.states import States
from etchpath.motion.timeline import Timed
from etchwire.storing import write_whole

FORMAT: Final = "etchwarden-index"
VERSION: Final = 1
MOST_APART_S: Final = 1.0
DARK_APART_S: Final = 0.1


@dataclass(frozen=True, slots=True)
class IndexEntry:
    """The start of a line: where it stands in the file, when it is run, and what holds there.

    `x_mm` and `y_mm` are the head's place from the set origin, `distance_mm` the way so far,
    rapids included. The last five are as the line before left them: motion and spindle as
    G and M numbers, distance 90 or 91, units 20 or 21, S or None, mm/min or None.
    """

    line: int
    byte: int
    at_s: float
    distance_mm: float
    x_mm: float
    y_mm: float
    is_dark: bool
    motion: int
    distance: int
    units: int
    spindle: int
    power_s: float | None
    feed_mm_per_min: float | None


class IndexBuilder:
    """Watches a preflight go by and picks the entries."""

    def __init__(self) -> None:
        """Have no entry yet."""
        self._entries: list[IndexEntry] = []
        self._recent: list[States] = []  # those whose times are not all settled
        self._last_line = 0
        self._last_s = -MOST_APART_S
        self._last_dark_s = -DARK_APART_S
        self._distance_mm = 0.0

    def see_states(self, states: States) -> None:
        """Keep what holds on some lines until their times are known."""
        self._recent.append(states)

    def see_times(self, timed: Timed) -> None:
        """Pick entries among pieces whose times are settled."""
        toolpath = timed.toolpath
        is_first = np.diff(toolpath.line, prepend=self._last_line) > 0
        at_s = np.maximum(timed.starts_s - toolpath.wait_s, 0.0)
        distance = self._distance_mm + np.cumsum(timed.travel.length_mm)
        is_rapid = np.isinf(toolpath.feed_mm_per_s)
        for place in self._picked(is_first, is_rapid, at_s, timed.ends_s[-1]):
            line = int(toolpath.line[place])
            self._entries.append(
                self._entry(
                    line,
                    at_s=float(at_s[place]),
                    distance_mm=float(distance[place] - timed.travel.length_mm[place]),
                    is_dark=bool(toolpath.beam_s[place] == 0),
                )
            )
        self._last_line = int(toolpath.line[-1])
        self._distance_mm = float(distance[-1])
        done = self._last_line
        self._recent = [some for some in self._recent if some.line_number + len(some) > done]

    def entries(self) -> tuple[IndexEntry, ...]:
        """Return the entries picked so far, in order."""
        return tuple(self._entries)

    def _picked(self, is_first: Flags, is_rapid: Flags, at_s: Floats, end_s: float) -> list[int]:
        """Return the first pieces of lines far enough in time from the last entry, or long."""
        seconds = np.floor(at_s / MOST_APART_S)
        is_due = np.diff(seconds, prepend=np.floor(self._last_s / MOST_APART_S)) > 0
        tenths = np.where(is_rapid, np.floor(at_s / DARK_APART_S), -1.0)
        latest = np.maximum.accumulate(np.append(self._last_dark_s, tenths[:-1]))
        is_dark_due = is_rapid & (tenths > latest)
        self._last_s = float(at_s[-1])
        self._last_dark_s = float(max(latest[-1], tenths[-1]))
        # A second may begin within a line: the next line that starts is the one to take.
        due = np.flatnonzero(is_due)
        firsts = np.flatnonzero(is_first)
        after = np.searchsorted(firsts, due)
        picked = np.zeros(len(at_s), dtype=bool)
        picked[firsts[after[after < len(firsts)]]] = True
        picked[firsts[np.diff(at_s[firsts], append=end_s) > MOST_APART_S]] = True
        places: list[int] = np.flatnonzero(picked | (is_dark_due & is_first)).tolist()
        return places

    def _entry(self, line: int, *, at_s: float, distance_mm: float, is_dark: bool) -> IndexEntry:
        states = next(some for some in self._recent if line < some.line_number + len(some))
        place = line - states.line_number
        carried = states.carried_to(place)
        start = states.line_ends[place] - states.lines.sizes_bytes()[states.first + place]
        power, feed = carried.power_s, carried.feed_mm_per_min
        x_mm, y_mm = carried.place_mm
        motion, distance, units, spindle = carried.modes
        return IndexEntry(
            line=line,
            byte=int(start),
            at_s=at_s,
            distance_mm=distance_mm,
            x_mm=x_mm,
            y_mm=y_mm,
            is_dark=is_dark,
            motion=motion,
            distance=distance,
            units=units,
            spindle=spindle,
            power_s=None if np.isnan(power) else power,
            feed_mm_per_min=None if np.isnan(feed) else feed,
        )


def write_index(
    path: Path, entries: Sequence[IndexEntry], *, gcode_sha256: str, has_reentry: bool
) -> None:
    """Write the index of the file of that hash to `path`; `has_reentry`: it can be resumed."""
    table = {
        "format": FORMAT,
        "version": VERSION,
        "gcode_sha256": gcode_sha256,
        "columns": [entry.name for entry in fields(IndexEntry)],
        "entries": [astuple(entry) for entry in entries],
        "has_reentry": has_reentry,
    }
    write_whole(path, json.dumps(table, allow_nan=False))
