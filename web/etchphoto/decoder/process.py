"""Decoding in a process of its own, which can do nothing but read one photo and write its answer.

A photo may be made by a stranger to break its decoder. So everything that looks into one, its
header too, is done by a child that is forked for it: its descriptors are closed, its memory and
processor time limited, its system calls filtered (`system_calls`). It answers on a pipe: a line
of JSON, then numbers. What comes back is taken for what a stranger may have written.

Forked, because a new program would load the libraries again, half a second and 30 MB each time.
"""

import fcntl
import json
import os
import resource
import signal
import traceback
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from etchphoto.decoder.cost import MOST_BYTES
from etchphoto.decoder.opening import MAKE_SMALLER, reading
from etchphoto.decoder.system_calls import NoSystemCallFilter, lock_in
from etchphoto.errors import (
    DecodersNotLocked,
    EtchphotoError,
    NotAPhoto,
    PhotoDamaged,
    PhotoTooLarge,
)
from etchwire.children.child_limits import (
    be_expendable,
    die_with_parent,
    limit_memory,
    limit_processor,
)

Table = Mapping[str, object]
Numbers = NDArray[Any]
Work = Callable[[IO[bytes]], tuple[Table, Iterable[Numbers]]]
Progress = Callable[[float], None]

PROCESSOR_S: Final = 300  # a large photo on a small board takes ten
_SPARE_BYTES: Final = 24_000_000  # what an allocator holds back between what it gives and takes
_FIRST_TO_GO: Final = 1000
_LONGEST_LINE_BYTES: Final = 4096
_LONGEST_REASON: Final = 300
_PIECE_BYTES: Final = 1 << 16
_NO_MEMORY: Final = 3  # exit code
_FAULTS: Final = {one.__name__: one for one in (
    DecodersNotLocked, NotAPhoto, PhotoDamaged, PhotoTooLarge
)}  # fmt: skip


class Decoded:
    """What the child answers: `table` first, then numbers, in the order in which they are read."""

    def __init__(self, pipe: IO[bytes], child: "_Child", name: str) -> None:
        self._pipe, self._child, self._name = pipe, child, name
        self._table = self._read_table()

    def whole(self, key: str, *, most: int) -> int:
        """Return a whole number of the table, from 0 to `most`; raise PhotoDamaged otherwise."""
        number = self._table.get(key)
        if isinstance(number, int) and 0 <= number <= most:
            return int(number)
        raise self._senseless()

    def read(
        self, shape: tuple[int, ...], kind: type[Any], on_progress: Progress = lambda _: None
    ) -> Numbers:
        """Return the next numbers; raise an EtchphotoError where the child did not come so far."""
        numbers = np.empty(shape, dtype=kind)
        room = numbers.reshape(-1).view(np.uint8).data
        filled = 0
        while filled < len(room):
            count = self._pipe.readinto(room[filled : filled + _PIECE_BYTES])  # type: ignore[attr-defined]
            if not count:
                raise self._ended_early()
            filled += count
            on_progress(filled / len(room))
        return numbers

    def _read_table(self) -> Table:
        line = self._pipe.readline(_LONGEST_LINE_BYTES)
        if not line.endswith(b"\n"):
            raise self._ended_early()
        try:
            table = json.loads(line)
        except ValueError:
            raise self._senseless() from None
        if not isinstance(table, dict):
            raise self._senseless()
        if "failed" in table:
            raise _FAULTS.get(str(table.get("kind")), PhotoDamaged)(_printable(table["failed"]))
        if "bug" in table:
            raise RuntimeError(f"decoding {self._name} met a fault of ours: {table['bug']!r}")
        return table

    def _senseless(self) -> EtchphotoError:
        return PhotoDamaged(
            f"{self._name} broke its decoder: open it elsewhere and save it anew, as JPEG"
        )

    def _ended_early(self) -> EtchphotoError:
        code = self._child.wait()
        if code in (_NO_MEMORY, -signal.SIGKILL):
            return PhotoTooLarge(
                f"{self._name} needs more memory to decode than this box has: {MAKE_SMALLER}"
            )
        if code == -signal.SIGXCPU:
            return PhotoDamaged(
                f"{self._name} does not come to an end of decoding: open it elsewhere and save it "
                "anew, as JPEG"
            )
        return self._senseless()


class _Child:
    """A process that was forked and is waited for once."""

    def __init__(self, pid: int) -> None:
        self._pid = pid
        self._code: int | None = None

    def wait(self) -> int:
        """Return its exit code, or minus the signal that ended it."""
        if self._code is None:
            _, status = os.waitpid(self._pid, 0)
            self._code = os.waitstatus_to_exitcode(status)
        return self._code

    def end(self) -> None:
        """See to it that it is gone."""
        if self._code is None:
            os.kill(self._pid, signal.SIGKILL)
            self.wait()


@contextmanager
def decoder_process(source: Path | bytes, name: str, work: Work) -> Iterator[Decoded]:
    """Have `work` done on the photo by a locked child, and hand out what it answers.

    `work` returns a table of whole numbers and arrays to be sent after it. Everything it needs
    has to be imported: the child can open no file. Raise what is wrong with the photo as an
    EtchphotoError, with a sentence; DecodersNotLocked where a child cannot be locked in.
    """
    with reading(source, name) as file:
        ours, theirs = os.pipe()
        with os.fdopen(ours, "rb") as pipe:
            try:
                child = _Child(_forked(lambda: _decode(file, theirs, work)))
            finally:
                os.close(theirs)
            try:
                yield Decoded(pipe, child, name)
            finally:
                child.end()


def _forked(be_child: Callable[[], NoReturn]) -> int:
    parent = os.getpid()
    with warnings.catch_warnings():
        # Python warns that other threads' locks may be held for ever in a fork. This one takes
        # none of theirs: it computes, and ends without cleaning up.
        warnings.simplefilter("ignore", DeprecationWarning)
        pid = os.fork()
    if pid == 0:
        try:
            die_with_parent(parent)
            be_child()
        finally:
            os._exit(1)
    return pid


def _decode(file: IO[bytes], pipe: int, work: Work) -> NoReturn:
    """Be the child: lock in, work, answer on descriptor 1, and end."""
    code = 0
    try:
        alone = _alone_with(file, pipe)
        be_expendable(_FIRST_TO_GO)
        limit_processor(PROCESSOR_S)
        limit_memory(_memory_in_use_bytes() + MOST_BYTES + _SPARE_BYTES)
        lock_in()
        table, arrays = work(alone)
        _say(table)
        for array in arrays:
            _write(np.ascontiguousarray(array).reshape(-1).view(np.uint8).data)
    except MemoryError:
        code = _NO_MEMORY
    except EtchphotoError as error:
        _say({"failed": str(error), "kind": type(error).__name__})
    except NoSystemCallFilter as error:
        _say({"failed": str(error), "kind": DecodersNotLocked.__name__})
    except BrokenPipeError:
        code = 1  # nobody wants the answer any more
    except BaseException:  # noqa: BLE001 - the parent raises it
        _say({"bug": traceback.format_exc()[-_LONGEST_LINE_BYTES // 4 :]})
    os._exit(code)


def _alone_with(file: IO[bytes], pipe: int) -> IO[bytes]:
    """Close every descriptor but 0, the photo, and 1, the answer; return the photo."""
    nothing = os.open(os.devnull, os.O_RDWR)
    is_in_memory = not _has_descriptor(file)
    photo = nothing if is_in_memory else file.fileno()
    kept = [fcntl.fcntl(one, fcntl.F_DUPFD, 3) for one in (photo, pipe, nothing)]
    for number, one in enumerate(kept):
        os.dup2(one, number)
    os.closerange(3, max(resource.getrlimit(resource.RLIMIT_NOFILE)[0], max(kept) + 1))
    return file if is_in_memory else open(0, "rb", closefd=False)


def _has_descriptor(file: IO[bytes]) -> bool:
    try:
        return file.fileno() >= 0
    except OSError:
        return False


def _memory_in_use_bytes() -> int:
    pages = int(Path("/proc/self/statm").read_text().split()[5])  # proc_pid_statm(5): data
    return pages * resource.getpagesize()


def _say(table: Table) -> None:
    _write(memoryview(json.dumps(table).encode() + b"\n"))


def _write(data: memoryview) -> None:
    while data:
        data = data[os.write(1, data[:_PIECE_BYTES]) :]


def _printable(sentence: object) -> str:
    letters = str(sentence)[:_LONGEST_REASON]
    return "".join(letter if letter.isprintable() else "?" for letter in letters)
