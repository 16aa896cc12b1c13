"""Files outside the installation's own folder: laid whole or not at all, listed, taken away."""

import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path, PurePosixPath

from etchwarden.installation.layout import Laid
from etchwarden.installation.paths import Places
from etchwire.storing import settle


def write_whole(path: Path, content: bytes, mode: int = 0o644) -> None:
    """Write `path` so that a power cut leaves the old file or the new one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_name(f".{path.name}.new")
    try:
        with draft.open("wb") as file:
            os.fchmod(file.fileno(), mode)
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except OSError:  # no room, say: then no half file either
        with suppress(OSError):
            draft.unlink()
        raise
    settle(path.parent)


def link_whole(link: Path, target: str) -> None:
    """Have `link` point at `target`, never at nothing in between."""
    if link.is_symlink() and str(link.readlink()) == target:
        return
    link.parent.mkdir(parents=True, exist_ok=True)
    draft = link.with_name(f".{link.name}.new")
    draft.unlink(missing_ok=True)
    draft.symlink_to(target)
    draft.replace(link)
    settle(link.parent)


def lay(files: Iterable[Laid], places: Places) -> None:
    """Lay the files, and take away what an earlier release laid and this one does not.

    The list is written first, with old and new, so that nothing is ever laid unlisted.
    """
    files = tuple(files)
    ours = {file.target for file in files if not file.is_owners}
    before = laid_before(places)
    _write_list(places, ours | before)
    for file in files:
        path = file.under(places.root)
        if file.is_owners and path.exists():
            continue
        if not path.exists() or path.read_bytes() != file.content:
            write_whole(path, file.content)
    for target in before - ours:
        (places.root / target.relative_to("/")).unlink(missing_ok=True)
    _write_list(places, ours)


def take_away(places: Places) -> None:
    """Take away every file that was laid; what is the owner's stays."""
    for target in laid_before(places):
        (places.root / target.relative_to("/")).unlink(missing_ok=True)


def laid_before(places: Places) -> set[PurePosixPath]:
    """Return the files that earlier installations laid."""
    if not places.files.exists():
        return set()
    return {PurePosixPath(line) for line in places.files.read_text().splitlines() if line}


def _write_list(places: Places, targets: Iterable[PurePosixPath]) -> None:
    text = "".join(f"{target}\n" for target in sorted(targets))
    if not places.files.exists() or places.files.read_text() != text:
        write_whole(places.files, text.encode())
