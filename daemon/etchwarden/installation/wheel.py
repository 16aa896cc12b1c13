"""A wheel of this program: which version it is, and what of it belongs outside Python."""

import hashlib
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

from etchwarden.installation.errors import NotOurs, Refused
from etchwarden.installation.layout import LAYOUT_NAME, layout_of

BOARD_FOLDER: Final = "etchwarden/board/"  # in the wheel; `systemd/` in the sources
LOCK_NAME: Final = "requirements.lock"
_NAME: Final = re.compile(r"etchwarden-(?P<version>[0-9][0-9a-z.+]*)-py3-none-any\.whl")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """A wheel, and the files it brings for the board, by name."""

    path: Path
    version: str
    sha256: str
    board: Mapping[str, bytes]

    @property
    def label(self) -> str:
        """The name of its release: the version, and what tells two builds of it apart."""
        return f"{self.version}-{self.sha256[:8]}"

    @classmethod
    def at(cls, path: Path) -> Self:
        """Read the wheel at `path`; raise NotOurs."""
        named = _NAME.fullmatch(path.name)
        if named is None:
            raise NotOurs(f"{path} is not a wheel of Etchwarden; its name says something else.")
        try:
            sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
            with zipfile.ZipFile(path) as archive:
                broken = archive.testzip()
                board = {
                    name.removeprefix(BOARD_FOLDER): archive.read(name)
                    for name in archive.namelist()
                    if name.startswith(BOARD_FOLDER) and not name.endswith("/")
                }
        except OSError as error:
            raise NotOurs(f"{path} cannot be read: {error.strerror}.") from error
        except zipfile.BadZipFile as error:
            raise NotOurs(f"{path} is damaged. Fetch it again.") from error
        if broken is not None:
            raise NotOurs(f"{path} is damaged in {broken}. Fetch it again.")
        missing = {LOCK_NAME, LAYOUT_NAME} - set(board)
        if missing:
            raise NotOurs(f"{path} brings no {' and no '.join(sorted(missing))}.")
        layout_of(board)
        return cls(path=path, version=named["version"], sha256=sha256, board=board)


def require_newer(wheel: Wheel, in_use: str | None, *, older: bool) -> None:
    """Raise Refused where the release in use, by its label, is newer than `wheel`.

    With `older` that is asked for.
    """
    version = (in_use or "").rpartition("-")[0]
    if version and order_of(wheel.version) < order_of(version) and not older:
        raise Refused(
            f"{wheel.version} is older than {version}, which is in use; it may not read the records"
            " that this one has written. With --older it is tried, and undone if it fails."
        )


def order_of(version: str) -> tuple[int, ...]:
    """Return what versions are compared by: their numbers."""
    return tuple(int(number) for number in re.findall(r"\d+", version.partition("+")[0]))
