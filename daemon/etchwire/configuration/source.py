"""The text of a configuration: read from its file with every trouble named, and its lines found."""

import errno
import re
import stat
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, Self, TypeVar

from etchwire.configuration.faults import Fault, FaultyConfiguration, Reason
from etchwire.configuration.tables import Table, read_tables
from etchwire.errors import UnreadableToml
from etchwire.toml_text import read_toml

Value = TypeVar("Value")

MOST_BYTES: Final = 1_000_000  # a hundred times what any configuration has
_ANEW: Final = (
    "Put a copy back, or move it away and write it anew: a machine's with `sudo etchwarden"
    " configure`, the page's with `systemd/install`."
)
# What the system says of a path, and what that means for whoever looks after the box.
_ABSENT: Final = (
    "there is no such file. Put a copy back, or write it: a machine's with `sudo etchwarden"
    " configure`, the page's with `systemd/install`."
)
_TROUBLES: Final[Mapping[int, tuple[Reason, str]]] = {
    errno.ENOENT: (Reason.ABSENT, _ABSENT),
    errno.ENOTDIR: (Reason.ABSENT, _ABSENT),
    errno.EISDIR: (Reason.NO_FILE, f"it is a folder. {_ANEW}"),
    errno.ELOOP: (Reason.NO_FILE, f"it is a link that leads round in a circle. {_ANEW}"),
    errno.EACCES: (
        Reason.FORBIDDEN,
        "this user may not read it. As somebody else than the daemon's user use sudo; for the"
        " daemon: sudo chmod a+r",
    ),
}
_NOT_UTF8: Final = "is not text in UTF-8. Save the file as UTF-8 text, or write it again."
_HEADER: Final = re.compile(r"\s*\[{1,2}\s*([^\[\]#]+?)\s*\]{1,2}")
_ENTRY: Final = re.compile(r"\s*([\w\"'.\- ]+?)\s*=")


@dataclass(frozen=True, slots=True)
class Source:
    """The text of a configuration and the tables in it; `name` is what to call it."""

    name: str
    text: str
    values: Mapping[str, object]

    @classmethod
    def of(cls, text: str, name: str = "the file") -> Self:
        """Take `text` apart; raise FaultyConfiguration naming the line that is at fault."""
        try:
            return cls(name, text, read_toml(text))
        except UnreadableToml as error:
            raise _refused(Reason.NOT_TOML, name, f"{error}.") from error

    @classmethod
    def at(cls, path: Path) -> Self:
        """Read the file at `path`; raise FaultyConfiguration with a named reason.

        An empty file is refused, though it is TOML: it is what a power cut leaves of a file that
        was being written, as are zeros.
        """
        content = _content(path)
        try:
            text = content.decode("utf-8-sig")  # some editors begin a file with a mark
        except UnicodeDecodeError as error:
            line = content[: error.start].count(b"\n") + 1
            raise _refused(Reason.NOT_TEXT, path, f"line {line} {_NOT_UTF8}") from error
        if not text.strip("\0 \t\r\n"):
            raise _refused(Reason.EMPTY, path, f"it is empty. {_ANEW}")
        if "\0" in text:
            line = text.partition("\0")[0].count("\n") + 1
            said = f"line {line} has zeros in it, as a power cut leaves them. {_ANEW}"
            raise _refused(Reason.NOT_TEXT, path, said)
        return cls.of(text, str(path))

    def read_by(self, read: Callable[[Table], Value]) -> Value:
        """Return what `read` makes of the tables; raise FaultyConfiguration, which names lines."""
        try:
            return read_tables(self.values, read)
        except FaultyConfiguration as refused:
            raise FaultyConfiguration(map(self._located, refused.faults)) from refused

    def line_of(self, where: str) -> int | None:
        """Return the line of an entry or table such as “inputs.lid”; None where it has none.

        An entry within braces, or one that is missing, is found by what it belongs to.
        """
        lines: dict[str, int] = {}
        for path, line in self._paths():
            lines.setdefault(path, line)
        while where:
            ends = [path for path in lines if path == where or path.endswith(f".{where}")]
            if ends:
                return lines[min(ends, key=len)]
            where = where.rpartition(".")[0]
        return None

    def _paths(self) -> Iterator[tuple[str, int]]:
        table = ""
        for number, line in enumerate(self.text.splitlines(), 1):
            header, entry = _HEADER.match(line), _ENTRY.match(line)
            if header:
                table = _plain(header[1])
                yield table, number
            elif entry:
                yield f"{table}.{_plain(entry[1])}".strip("."), number

    def _located(self, fault: Fault) -> Fault:
        line = self.line_of(fault.where)
        place = self.name if line is None else f"{self.name}, line {line}"
        return replace(fault, where=f"{place}: {fault.where}".removesuffix(": "))


def _content(path: Path) -> bytes:
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise IsADirectoryError(errno.EISDIR, "")
        if not stat.S_ISREG(found.st_mode):
            raise _refused(Reason.NO_FILE, path, f"it is a device or a pipe. {_ANEW}")
        if found.st_size > MOST_BYTES:
            size = f"{found.st_size / 1e6:.1f} MB"
            said = f"it has {size}, so something else was written over it. {_ANEW}"
            raise _refused(Reason.TOO_LONG, path, said)
        return path.read_bytes()
    except OSError as error:
        if error.errno == errno.ENOENT and path.is_symlink():
            said = f"it is a link to {path.readlink()}, which is not there. {_ANEW}"
            raise _refused(Reason.ABSENT, path, said) from error
        reason, said = _TROUBLES.get(
            error.errno or 0, (Reason.UNREADABLE, f"it cannot be read: {error.strerror}.")
        )
        said = f"{said} {path}" if reason is Reason.FORBIDDEN else said
        raise _refused(reason, path, said) from error


def _refused(reason: Reason, where: str | Path, sentence: str) -> FaultyConfiguration:
    return FaultyConfiguration([Fault(reason, str(where), sentence)])


def _plain(path: str) -> str:
    return ".".join(part.strip().strip("\"'") for part in path.split("."))
