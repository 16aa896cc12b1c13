"""The rest of another program's file, from the start of the move that was cut."""

import math
import shutil
from typing import BinaryIO, Final

from etchpath.errors import NoReentry
from etchpath.index import Index, IndexEntry
from etchpath.language.blocks import Blocks
from etchpath.language.dialect import ABSOLUTE, BEAM_OFF, INCH, NOT_SET, Event, Mode
from etchpath.language.lines import Lines
from etchpath.language.reader import read_block
from etchpath.language.states import Carried, States, follow
from etchpath.machine import Machine
from etchpath.writer.raster import UM_PER_MM, mm_text

_COPIED_AT_ONCE_BYTES: Final = 256 * 1024
_SHIFTED: Final = "the job shifts its own origin, so no place in it is known for sure"


def write_rest_of_file(
    file: BinaryIO, line: int, rest: BinaryIO, machine: Machine, *, index: Index | None = None
) -> None:
    """Write what is left of `file` from the move of `line` (from 1) on, restoring what held there.

    With an `index` only the part from the last entry before `line` is read. The head goes to
    where the move starts in the dark. Raise NoReentry where the file does not allow it. Whether
    the file is fit to be run at all is for its preflight to say; here it is taken to be.
    """
    if index is not None and not index.has_reentry:
        raise NoReentry(_SHIFTED)
    start = _entry_before(index.entries if index else (), line)
    file.seek(start.byte if start else 0)
    first_line = start.line if start else 1
    carried = start.carried() if start else Carried()
    for block in Blocks(file):
        lines = read_block(block, machine)
        if lines.does(Event.SETS_ORIGIN).any() or lines.does(Event.CLEARS_ORIGIN).any():
            raise NoReentry(_SHIFTED)
        place = line - (first_line + block.first_line - 1)
        if place >= len(lines):
            for _ in follow(lines, carried):
                pass
            continue
        if lines.does(Event.ENDS)[:place].any():
            raise NoReentry("the program had already ended")
        states = next(some for some in follow(lines, carried) if place < some.first + len(some))
        beginning = _beginning(states, place - states.first)
        rest.write(beginning)
        file.seek((start.byte if start else 0) + _start_byte(lines, place))
        shutil.copyfileobj(file, rest, _COPIED_AT_ONCE_BYTES)
        return
    raise NoReentry(f"the file has no line {line}")


def _entry_before(entries: tuple[IndexEntry, ...], line: int) -> IndexEntry | None:
    earlier = [entry for entry in entries if entry.line <= line]
    return earlier[-1] if earlier else None


def _start_byte(lines: Lines, place: int) -> int:
    start = int(lines.ends[place - 1]) + 1 if place else 0
    return lines.block.first_byte + start


def _beginning(states: States, place: int) -> bytes:
    """Return the lines that bring head and controller to where `place` begins."""
    if not states.is_move[place]:
        raise NoReentry(f"line {states.line_number + place} is no move")
    held = states.carried_to(place)
    x_mm, y_mm = (mm_text(round(mm * UM_PER_MM)).decode() for mm in held.place_mm)
    motion, distance, units, spindle = held.modes
    lines = ["G21G90G94", "G17", "M5", f"G0X{x_mm}Y{y_mm}"]
    if held.feed_mm_per_min > 0:
        lines.append("F" + _short(held.feed_mm_per_min))
    if units == INCH:
        lines.append("G20")
    if distance != ABSOLUTE:
        lines.append("G91")
    power = "" if math.isnan(held.power_s) else "S" + _short(held.power_s)
    if spindle != BEAM_OFF or power:
        lines.append(f"M{spindle}{power}")
    text = "\n".join(lines) + "\n"
    is_motion_given = states.lines.modes[Mode.MOTION, states.first + place] != NOT_SET
    return (text if is_motion_given else f"{text}G{motion}").encode("ascii")


def _short(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")
