"""Jobs handed in: copied, hashed and held against their sheet before anybody relies on them."""

import os
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import mkdtemp
from threading import Lock
from typing import Final

from etchdaemon.errors import JobRefused
from etchdaemon.service.job.integrity_check import Tally, read_sheet_text
from etchwire.retention import JOBS, throw_out
from etchwire.sheet import GCODE_NAME, SHEET_NAME, Sheet
from etchwire.storing import fault_of_card, settle

CHUNK_BYTES: Final = 32 * 1024  # looked through at one go; the loop may be etching meanwhile
LARGEST_SHEET_BYTES: Final = 16 * 1024 * 1024
_LEFTOVERS: Final = (".arriving-*", ".rest-*")

Needed = Callable[[], "frozenset[str] | None"]


@dataclass(frozen=True, slots=True)
class SpooledJob:
    """A job in our own keeping; `ends_at_mm` is where it says that the head ends."""

    sheet: Sheet
    sheet_json: str
    gcode: Path
    ends_at_mm: tuple[float, float] | None
    continues_run: int | None = None  # the run whose rest this is
    picture_sha256: str | None = None  # the job it is a rest of, which shows the whole picture
    needs_kept_position: bool = False  # it fits only where nothing has moved since that run

    @property
    def rows_above(self) -> int:
        """How many rows of its picture an earlier run has etched."""
        index = self.sheet.index
        return index[0].row if self.continues_run is not None and index else 0


class Spool:
    """The folder in which jobs are kept, each under the hash of its G-code.

    `needed` tells the hashes of those that an etch may be taken up with: they stay, and while it
    cannot tell (None) all do. A job is on disk before it is answered for, so that a power cut
    after that finds it whole; `fsync` has it there.
    """

    def __init__(
        self,
        folder: Path,
        *,
        needed: Needed = frozenset,
        now_s: Callable[[], float] = time.time,
        fsync: Callable[[int], None] = os.fsync,
    ) -> None:
        self._folder = folder
        self._needed = needed
        self._now_s = now_s
        self._fsync = fsync
        self._turn = Lock()  # two phones may load at once
        for pattern in _LEFTOVERS:  # of a daemon that was killed: nobody else writes here
            for leftover in folder.glob(pattern):
                shutil.rmtree(leftover, ignore_errors=True)

    def folder_of(self, gcode_sha256: str) -> Path:
        """Return where the job of that hash is kept, if it still is."""
        return self._folder / gcode_sha256

    def make_rest_folder(self) -> Path:
        """Return a new folder for what is left of a job, cleared away by whoever asked."""
        try:
            return Path(mkdtemp(prefix=".rest-", dir=self._folder))
        except OSError as error:
            raise not_stored(error) from error

    def take_in(self, *, gcode_fd: int, sheet_fd: int) -> SpooledJob:
        """Copy a job out of two open files; raise JobRefused unless it is all of one piece.

        The copy is what will be run: nobody can change it behind our back.
        """
        data = b"".join(_chunks(sheet_fd, LARGEST_SHEET_BYTES))
        sheet = read_sheet_text(data)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            arriving = Path(mkdtemp(prefix=".arriving-", dir=self._folder))
        except OSError as error:
            raise not_stored(error) from error
        try:
            tally = _copy(gcode_fd, sheet, arriving)
            (arriving / SHEET_NAME).write_bytes(data)
            with self._turn:
                folder = self._keep(arriving, sheet)
                self._thin_out(folder)
        except OSError as error:
            raise not_stored(error) from error
        finally:
            shutil.rmtree(arriving, ignore_errors=True)
        return SpooledJob(sheet, data.decode(), folder / GCODE_NAME, tally.ends_at_mm)

    def _keep(self, arriving: Path, sheet: Sheet) -> Path:
        """Put the job in its place, where there is one of its hash file by file: it stays whole."""
        folder = self.folder_of(sheet.gcode_sha256)
        for name in (GCODE_NAME, SHEET_NAME):
            settle(arriving / name, fsync=self._fsync)
        if folder.is_dir():
            for name in (GCODE_NAME, SHEET_NAME):
                (arriving / name).replace(folder / name)
            os.utime(folder)
        else:
            settle(arriving, fsync=self._fsync)
            arriving.rename(folder)
        settle(folder, fsync=self._fsync)
        settle(self._folder, fsync=self._fsync)
        settle(self._folder.parent, fsync=self._fsync)
        return folder

    def _thin_out(self, newest: Path) -> None:
        needed = self._needed()
        if needed is None:
            return
        with suppress(OSError):
            jobs = [[path] for path in self._folder.iterdir() if not path.name.startswith(".")]
            stay = frozenset(map(self.folder_of, needed)) | {newest}
            throw_out(jobs, JOBS, now_s=self._now_s(), needed=stay)


def not_stored(error: OSError) -> JobRefused:
    """Return the sentence for storage that does not take a job."""
    return JobRefused(f"The job cannot be stored: {fault_of_card(error) or error.strerror}.")


def _copy(gcode_fd: int, sheet: Sheet, folder: Path) -> Tally:
    tally = Tally(sheet)
    with (folder / GCODE_NAME).open("wb") as copy:
        for chunk in _chunks(gcode_fd, sheet.gcode_bytes + 1):
            tally.count(chunk)
            copy.write(chunk)
    tally.check()
    return tally


def _chunks(descriptor: int, most_bytes: int) -> Iterator[bytes]:
    """Yield the file from its beginning; stop, without a word, past `most_bytes`."""
    left = most_bytes
    try:
        os.lseek(descriptor, 0, os.SEEK_SET)
        while left > 0 and (chunk := os.read(descriptor, min(CHUNK_BYTES, left))):
            yield chunk
            left -= len(chunk)
    except OSError as error:
        raise JobRefused(f"The job cannot be read: {error.strerror}.") from error
