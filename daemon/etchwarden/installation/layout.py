"""Which files an installation lays outside its own folder, as the wheel's own list says."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from etchwarden.installation.errors import NotOurs

LAYOUT_NAME: Final = "layout.txt"
# A list from a wheel may lay files nowhere else.
ALLOWED: Final = (
    "/etc/avahi/services/",
    "/etc/etchwarden/",
    "/etc/modules-load.d/",
    "/etc/systemd/journald.conf.d/",
    "/etc/systemd/system/",
    "/etc/sysusers.d/",
    "/etc/tmpfiles.d/",
    "/etc/udev/rules.d/",
)


@dataclass(frozen=True, slots=True)
class Laid:
    """A file of the board: where it goes, what is in it, and whether it is the owner's."""

    target: PurePosixPath
    content: bytes
    is_owners: bool = False

    def under(self, root: Path) -> Path:
        """Return where it goes when the board's root folder is `root`."""
        return root / self.target.relative_to("/")


def layout_of(board: Mapping[str, bytes]) -> tuple[Laid, ...]:
    """Return what the files of a wheel are and where they go; raise NotOurs."""
    lines = board[LAYOUT_NAME].decode().splitlines()
    return tuple(_laid(line.split(), board) for line in lines if line and not line.startswith("#"))


def _laid(words: list[str], board: Mapping[str, bytes]) -> Laid:
    match words:
        case [name, target] if name in board and _is_allowed(target):
            return Laid(PurePosixPath(target), board[name])
        case [name, target, "once"] if name in board and _is_allowed(target):
            return Laid(PurePosixPath(target), board[name], is_owners=True)
    raise NotOurs(f"The wheel's list of files has a line that is not understood: {words}.")


def _is_allowed(target: str) -> bool:
    return target.startswith(ALLOWED) and ".." not in PurePosixPath(target).parts
