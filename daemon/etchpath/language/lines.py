"""Lines as columns: the numbers and modes that each line of a block gives, and what was odd."""

from dataclasses import dataclass, field
from typing import Self

import numpy as np
from numpy.typing import NDArray

from etchpath.arrays import Flags
from etchpath.language.blocks import Block
from etchpath.language.dialect import NOT_SET, Event, Mode, Number

Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Remark:
    """Something to say about lines of a block: which kind of finding, and which lines."""

    kind: str
    lines: Indices  # counted from 0 within the block, in order


@dataclass(slots=True)
class Lines:
    """The lines of one block, one column each.

    `numbers` has a row for each Number (not a number where not given), `modes` for each Mode
    (NOT_SET where left alone), `events` holds Event flags. A line that the controller would
    refuse gives nothing, as there.
    """

    block: Block
    ends: Indices  # where in the block's text each line's line feed stands
    numbers: NDArray[np.float64]
    modes: NDArray[np.int16]
    events: NDArray[np.uint8]
    words: NDArray[np.int16]  # how many each has
    remarks: list[Remark] = field(default_factory=list)

    @classmethod
    def blank(cls, block: Block) -> Self:
        """Return the lines of `block` as if every one were empty."""
        ends = np.flatnonzero(np.frombuffer(block.text, np.uint8) == ord("\n"))
        count = len(ends)
        return cls(
            block=block,
            ends=ends,
            numbers=np.full((len(Number), count), np.nan),
            modes=np.full((len(Mode), count), NOT_SET, dtype=np.int16),
            events=np.zeros(count, dtype=np.uint8),
            words=np.zeros(count, dtype=np.int16),
        )

    def __len__(self) -> int:
        return len(self.ends)

    def given(self, number: Number) -> Flags:
        """Return which lines give `number`."""
        is_given: Flags = ~np.isnan(self.numbers[number])
        return is_given

    def does(self, event: Event) -> Flags:
        """Return which lines do `event`."""
        is_done: Flags = (self.events & event.value) != 0
        return is_done

    def remark(self, kind: str, lines: Flags | Indices) -> None:
        """Note a finding of `kind` at `lines` (a mask, or places within the block)."""
        places = np.flatnonzero(lines) if lines.dtype == bool else lines
        if len(places):
            self.remarks.append(Remark(kind, places.astype(np.intp, copy=False)))

    def refuse(self, kind: str, lines: Flags | Indices, refused: Flags) -> None:
        """Note why the controller refuses `lines`, and add them to those `refused` already.

        Each is remarked under its first reason only.
        """
        is_new = np.zeros(len(self), dtype=bool)
        is_new[lines] = True
        is_new &= ~refused
        self.remark(kind, is_new)
        refused |= is_new

    def drop(self, lines: Flags | Indices) -> None:
        """Take out what `lines` gave: the controller refuses a line whole."""
        self.numbers[:, lines] = np.nan
        self.modes[:, lines] = NOT_SET
        self.events[lines] = 0

    def text(self, place: int) -> bytes:
        """Return the line as it stands in the file, without its end."""
        start = int(self.ends[place - 1]) + 1 if place else 0
        return self.block.text[start : int(self.ends[place])].rstrip(b"\r")

    def sizes_bytes(self) -> Indices:
        """Return how many bytes each line puts on the serial line, its line feed included."""
        sizes: Indices = np.diff(self.ends, prepend=-1)
        return sizes
