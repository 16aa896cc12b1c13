"""Whether a job is all of one piece: its sheet, its size and hash, each of its lines."""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from etchdaemon.controller.lines import is_plain, significant
from etchdaemon.errors import JobRefused, UnfitLine
from etchwire.errors import UnreadableSheet
from etchwire.sheet import Sheet

LONGEST_LINE_BYTES: Final = 79  # the 8-bit firmware refuses the 80th character
_TAIL_BYTES: Final = 4096
_TOO_LONG: Final = re.compile(rb"[^\n]{80}")
_PARKING: Final = re.compile(rb"G90G0X(-?[0-9.]+)Y(-?[0-9.]+)\n")

_PREPARE_AGAIN: Final = "Prepare the picture again."


@dataclass(slots=True)
class Tally:
    """What was counted while a job's G-code was copied."""

    sheet: Sheet
    hash: "hashlib._Hash" = field(default_factory=hashlib.sha256)
    size_bytes: int = 0
    lines: int = 0
    tail: bytes = b""
    _row: int = 0

    def count(self, chunk: bytes) -> None:
        """Count `chunk`; raise JobRefused for a line that may not be sent, or a row misplaced."""
        _, _, unended = self.tail.rpartition(b"\n")
        _check_lines(unended + chunk)
        self._count_lines(chunk)
        self.hash.update(chunk)
        self.size_bytes += len(chunk)
        self.tail = (self.tail + chunk)[-_TAIL_BYTES:]

    def _count_lines(self, chunk: bytes) -> None:
        done = 0
        for entry in self.sheet.index[self._row :]:
            start = entry.byte - self.size_bytes
            if start >= len(chunk):
                break
            self.lines += chunk.count(b"\n", done, start)
            done = start
            if self.lines != entry.line - 1:
                raise JobRefused(f"The job and its sheet are not of one piece. {_PREPARE_AGAIN}")
            self._row += 1
        self.lines += chunk.count(b"\n", done)

    def check(self) -> None:
        """Raise JobRefused unless the whole is what the sheet says."""
        sheet = self.sheet
        counted = (self.size_bytes, self.hash.hexdigest(), self.lines)
        if counted != (sheet.gcode_bytes, sheet.gcode_sha256, sheet.gcode_lines):
            raise JobRefused(
                f"The job was changed or damaged after its sheet was written. {_PREPARE_AGAIN}"
            )
        if not self.tail.endswith(b"\n"):
            raise JobRefused(f"The job's last line is not whole. {_PREPARE_AGAIN}")

    @property
    def ends_at_mm(self) -> tuple[float, float] | None:
        """Where the job says that the head ends: our own by the last parking move."""
        if self.sheet.is_foreign:
            return (self.sheet.index[-1].to_mm, self.sheet.index[-1].y_mm)
        found = _PARKING.findall(self.tail)
        return (float(found[-1][0]), float(found[-1][1])) if found else None


def read_sheet_text(data: bytes) -> Sheet:
    """Return the sheet in a file of one; raise JobRefused unless its figures make sense."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise JobRefused(f"The job's sheet is not readable text. {_PREPARE_AGAIN}") from None
    try:
        return Sheet.from_json(text)
    except UnreadableSheet as error:
        raise JobRefused(f"{str(error)[:1].upper()}{str(error)[1:]}. {_PREPARE_AGAIN}") from error


def _check_lines(data: bytes) -> None:
    """Raise JobRefused for a line in `data` that is too long or may not be sent.

    The last line may go on beyond `data`; what is wrong with it so far is wrong.
    """
    if is_plain(data):
        too_long = _TOO_LONG.search(data) is not None
    else:
        too_long = any(len(line) > LONGEST_LINE_BYTES for line in _significant_lines(data))
    if too_long:
        raise JobRefused(f"The job holds a line that no controller takes. {_PREPARE_AGAIN}")


def _significant_lines(data: bytes) -> Iterator[bytes]:
    *lines, unended = data.split(b"\n")
    try:
        yield from map(significant, lines)
    except UnfitLine as error:
        raise JobRefused(f"The job cannot be sent: {error}. {_PREPARE_AGAIN}") from error
    yield unended[:0] if b"(" in unended or b";" in unended else unended
