"""The lines of a spooled job, read as they are needed."""

import os
from collections import deque
from pathlib import Path
from typing import Final

from etchdaemon.controller.lines import is_plain, significant
from etchdaemon.errors import JobRefused

CHUNK_BYTES: Final = 4096


class Feed:
    """Hands out a job's lines in order, from a file of any length, with little memory.

    Lines count from 1 as the job's sheet counts them; those that hold nothing to send are
    passed over and counted.
    """

    def __init__(self, path: Path, *, lines: int) -> None:
        self.lines = lines
        self.last_line = 0  # handed out last
        self.lines_sent = 0  # those that held something
        self._file = path.open("rb", buffering=0)
        self._ready: deque[bytes] = deque()
        self._unended = b""

    def take(self, room_bytes: int, *, until_line: int) -> list[bytes]:
        """Return the next lines that fit into `room_bytes` with their ends, up to `until_line`.

        Raise JobRefused when the file is no longer what was counted, UnfitLine for a line that
        may not be sent.
        """
        taken: list[bytes] = []
        ready = self._ready
        while self.last_line < until_line:
            if not ready:
                self._read()
            line = ready[0]
            room_bytes -= len(line) + 1
            if room_bytes < 0:
                break
            ready.popleft()
            self.last_line += 1
            if line:
                taken.append(line)
            else:
                room_bytes += 1
        self.lines_sent += len(taken)
        return taken

    def lines_between(self, byte: int, end_byte: int) -> list[bytes]:
        """Return the lines of a part of the file, none where it cannot be read."""
        try:
            return os.pread(self._file.fileno(), end_byte - byte, byte).split(b"\n")
        except OSError:
            return []

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def _read(self) -> None:
        try:
            while chunk := self._file.read(CHUNK_BYTES):
                *lines, self._unended = (self._unended + chunk).split(b"\n")
                if not is_plain(chunk):
                    lines = [significant(line) for line in lines]
                self._ready.extend(lines)
                if lines:
                    return
        except OSError as error:
            raise JobRefused(f"The job can no longer be read: {error.strerror}.") from error
        raise JobRefused("The job ends before its sheet says so: its copy was changed.")
