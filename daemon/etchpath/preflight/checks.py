"""What is looked at in every block: bytes, words, states and the way of the head."""

from typing import Final

import numpy as np

from etchpath.arrays import Flags
from etchpath.language.blocks import Block
from etchpath.language.dialect import (
    BEAM_OFF,
    CONSTANT_POWER,
    INCH,
    RAPID,
    Event,
    Mode,
    Number,
)
from etchpath.language.lines import Lines
from etchpath.language.states import States
from etchpath.machine import SECONDS_PER_MINUTE, Machine
from etchpath.motion.timeline import Timed
from etchpath.motion.toolpath import Toolpath
from etchpath.preflight.findings import Findings

_BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"
_TWO_BYTE_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")
_ROUNDING: Final = 1 + 1e-9


class Checks:
    """Looks at the parts of a file as they are read, and notes what it finds."""

    def __init__(self, machine: Machine, findings: Findings) -> None:
        """Know nothing yet."""
        self._machine = machine
        self._findings = findings
        self._was_burning_at_rest = False  # constant power was on at the end of the last line
        self._has_ended = False
        self._has_words = False
        self._has_burnt = False
        self._is_left_on = False
        self.longest_need_bytes_per_s = 0.0
        self.held_up_s = 0.0  # how long the controller's processor keeps the head waiting

    def is_text(self, block: Block) -> bool:
        """Note what the bytes as such show; return whether they can be G-code at all."""
        text = block.text
        is_first = block.first_byte == 0
        if b"\0" in text or (is_first and text.startswith(_TWO_BYTE_MARKS)):
            self._findings.add("not text", line=block.first_line)
            return False
        if is_first and text.startswith(_BYTE_ORDER_MARK):
            self._findings.add("byte-order mark", line=1)
        if count := text.count(b"\r\n"):
            self._findings.add("CRLF", line=block.first_line, count=count)
        if block.is_cut_short:
            last = text.count(b"\n")
            self._findings.add("cut short", line=block.first_line + last - 1)
        return True

    def see_states(self, states: States) -> None:
        """Look at what holds on each line."""
        lines = states.lines
        part = states.part
        modes, events = lines.modes[:, part], lines.events[part]
        power_word = states.given(Number.S)
        does_something = (modes >= 0).any(axis=0) | (events != 0)
        does_something |= ~np.isnan(lines.numbers[:, part]).all(axis=0)
        is_rapid = states.is_move & (states.motion == RAPID) & (states.spindle != BEAM_OFF)
        burns = states.is_beam_on & (states.spindle == CONSTANT_POWER)
        found = {
            "inches": modes[Mode.UNITS] == INCH,
            "power above the most": power_word > self._machine.max_s,
            "power in a rapid": is_rapid & (power_word > 0),
            "power kept in a rapid": is_rapid & (states.power_s > 0) & ~(power_word > 0),
            "power never set": states.is_move
            & (states.motion != RAPID)
            & (states.spindle != BEAM_OFF)
            & np.isnan(states.power_s),
            "constant power": burns & states.is_move,
            "beam on at standstill": self._burns_at_rest(burns, does_something, states),
            "after the end": self._after_the_end(does_something, lines, part),
        }
        for kind, where in found.items():
            lines.remark(kind, np.flatnonzero(where) + states.first)
        self._has_words |= bool(does_something.any())
        is_on = (states.spindle[-1] != BEAM_OFF) & (states.power_s[-1] > 0)
        self._is_left_on = bool(is_on)

    def see_toolpath(self, toolpath: Toolpath, lines: Lines) -> None:
        """Look at where the head goes and how fast it is told to."""
        machine = self._machine
        self._has_burnt |= bool((toolpath.beam_s > 0).any())
        outside = machine.bed.is_outside(toolpath.x_mm, toolpath.y_mm)
        self._remark_pieces("outside the travel", outside, toolpath, lines)
        length = np.hypot(toolpath.dx_mm, toolpath.dy_mm)
        is_feed = np.isfinite(toolpath.feed_mm_per_s)
        feed = np.where(is_feed, toolpath.feed_mm_per_s, 0.0) * SECONDS_PER_MINUTE / length
        too_fast = np.abs(toolpath.dx_mm) * feed > machine.max_feed_x_mm_per_min * _ROUNDING
        too_fast |= np.abs(toolpath.dy_mm) * feed > machine.max_feed_y_mm_per_min * _ROUNDING
        self._remark_pieces("feed above the limit", too_fast, toolpath, lines)

    def see_remarks(self, lines: Lines) -> None:
        """Take over everything that was remarked on the lines of a block."""
        for remark in lines.remarks:
            first = int(remark.lines[0])
            self._findings.add(
                remark.kind,
                line=lines.block.first_line + first,
                count=len(remark.lines),
                text=lines.text(first),
            )

    def see_times(self, timed: Timed) -> None:
        """Look at whether the controller's processor and the serial line keep up."""
        self.held_up_s += float((timed.travel.seconds - timed.travel.full_queue_s).sum())
        need = timed.needed_bytes_per_s
        self.longest_need_bytes_per_s = max(self.longest_need_bytes_per_s, float(need.max()))
        late = np.flatnonzero(need > self._machine.bytes_per_s)
        if len(late):
            lines = np.unique(timed.toolpath.line[late])
            self._findings.add("line too slow", line=int(lines[0]), count=len(lines))

    def finish(self, last_line: int) -> None:
        """Note what is missing at the end of the file."""
        if not self._has_words:
            self._findings.add("empty")
            return
        if not self._has_ended:
            self._findings.add("no program end", line=last_line)
            if self._is_left_on:
                self._findings.add("beam not switched off", line=last_line)
        if not self._has_burnt:
            self._findings.add("nothing is etched")

    def _burns_at_rest(self, burns: Flags, does_something: Flags, states: States) -> Flags:
        """Return the lines on which constant power meets a head that does not move."""
        before = np.append(self._was_burning_at_rest, burns[:-1])
        self._was_burning_at_rest = bool(burns[-1])
        stays = burns & ~states.is_move & does_something
        return stays | (before & states.stops)

    def _after_the_end(self, does_something: Flags, lines: Lines, part: slice) -> Flags:
        ends = lines.does(Event.ENDS)[part]
        ended_before = np.cumsum(ends) - ends + int(self._has_ended) > 0
        self._has_ended |= bool(ends.any())
        return does_something & ended_before

    def _remark_pieces(self, kind: str, where: Flags, toolpath: Toolpath, lines: Lines) -> None:
        found = np.unique(toolpath.line[where]) - lines.block.first_line
        lines.remark(kind, found)
