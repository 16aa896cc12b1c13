"""The rest of another program's file, from the start of the move that was cut."""

import math
import shutil
from typing import BinaryIO

from etchpath.errors import NoReentry
from etchpath.language.blocks import Blocks
from etchpath.language.dialect import ABSOLUTE, BEAM_OFF, INCH, NOT_SET, Event, Mode
from etchpath.language.lines import Lines
from etchpath.language.reader import read_block
from etchpath.language.states import Carried, States, follow
from etchpath.machine import Machine
from etchpath.writer.raster import UM_PER_MM, mm_text, short_text


def write_rest_of_file(file: BinaryIO, line: int, rest: BinaryIO, machine: Machine) -> None:
    """Write what is left of `file` from the move of `line` (from 1) on, restoring what held there.

    The head goes to where the move starts in the dark. Raise NoReentry where the file does not
    allow it. Whether the file is fit to be run at all is for its preflight to say; here it is
    taken to be.
    """
    file.seek(0)
    carried = Carried()
    for block in Blocks(file):
        lines = read_block(block, machine)
        if lines.does(Event.SETS_ORIGIN).any() or lines.does(Event.CLEARS_ORIGIN).any():
            raise NoReentry("the job shifts its own origin, so no place in it is known for sure")
        place = line - block.first_line
        if place >= len(lines):
            for _ in follow(lines, carried):
                pass
            continue
        if lines.does(Event.ENDS)[:place].any():
            raise NoReentry("the program had already ended")
        states = next(some for some in follow(lines, carried) if place < some.first + len(some))
        beginning = _beginning(states, place - states.first)
        rest.write(beginning)
        file.seek(_start_byte(lines, place))
        shutil.copyfileobj(file, rest)
        return
    raise NoReentry(f"the file has no line {line}")


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
        lines.append("F" + short_text(held.feed_mm_per_min))
    if units == INCH:
        lines.append("G20")
    if distance != ABSOLUTE:
        lines.append("G91")
    power = "" if math.isnan(held.power_s) else "S" + short_text(held.power_s)
    if spindle != BEAM_OFF or power:
        lines.append(f"M{spindle}{power}")
    text = "\n".join(lines) + "\n"
    is_motion_given = states.lines.modes[Mode.MOTION, states.first + place] != NOT_SET
    return (text if is_motion_given else f"{text}G{motion}").encode("ascii")
