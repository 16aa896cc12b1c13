"""Minimal Debians to boot: made once by debootstrap, kept for later runs, and never written to.

What is done with one goes into layers above it (overlayfs), so that a fresh board costs a second.
"""

import hashlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

RELEASES: Final = {"bookworm": "Debian 12", "trixie": "Debian 13"}
# What README asks for, what every Debian on a board has, and nothing else.
PACKAGES: Final = (
    "ca-certificates", "dbus", "git", "python3", "python3-venv", "sudo", "systemd",
    "systemd-sysv", "udev",
)  # fmt: skip
MOST_IN_MEMORY: Final = "4g"
CERTIFICATES: Final = Path("/etc/ssl/certs/ca-certificates.crt")
CACHE_VARIABLE: Final = "ETCHWARDEN_BOARDS"


def base(release: str) -> Path:
    """Return the root folder of a bare Debian, making it where there is none yet."""
    folder = _cache() / f"{release}-{_recipe_mark()}"
    if not folder.exists():
        draft = folder.with_name(f"{folder.name}.draft")
        shutil.rmtree(draft, ignore_errors=True)
        draft.parent.mkdir(parents=True, exist_ok=True)
        _run("debootstrap", "--variant=minbase", f"--include={','.join(PACKAGES)}", release, draft)
        draft.rename(folder)
    return folder


@contextmanager
def folder_in_memory() -> Iterator[Path]:
    """Give a folder for boards' layers that costs nothing to throw away.

    The tens of thousands of files of a few boards take minutes to delete from a disk that is told
    of each block that it may forget.
    """
    folder = Path(tempfile.mkdtemp(prefix="boards-"))
    _run("mount", "-t", "tmpfs", "-o", f"size={MOST_IN_MEMORY}", "tmpfs", folder)
    try:
        yield folder
    finally:
        _run("umount", "--lazy", folder)
        folder.rmdir()


@contextmanager
def layer(below: Sequence[Path], folder: Path) -> Iterator[Path]:
    """Give a root folder that shows `below`, topmost first; what is written stays in `folder`.

    `folder`/changes may lie below another layer later.
    """
    changes, work, root = (folder / name for name in ("changes", "work", "root"))
    for made in (changes, work, root):
        made.mkdir(parents=True)
    lower = ":".join(map(str, below))
    options = f"lowerdir={lower},upperdir={changes},workdir={work}"
    _run("mount", "-t", "overlay", "overlay", "-o", options, root)
    try:
        yield root
    finally:
        _run("umount", "--lazy", root)


def bring_certificates(root: Path) -> None:
    """Let the board trust whom this machine trusts: its network may have a proxy of its own."""
    shutil.copy(CERTIFICATES, root / CERTIFICATES.relative_to("/"))


def _cache() -> Path:
    named = os.environ.get(CACHE_VARIABLE)
    return Path(named) if named else Path.home() / ".cache/etchwarden-boards"


def _recipe_mark() -> str:
    """Another list of packages is another Debian."""
    return hashlib.sha256(" ".join(PACKAGES).encode()).hexdigest()[:8]


def _run(*command: object) -> None:
    done = subprocess.run(
        [str(word) for word in command], check=False, capture_output=True, text=True
    )
    assert done.returncode == 0, f"{command[0]}: {(done.stdout + done.stderr)[-2000:]}"
