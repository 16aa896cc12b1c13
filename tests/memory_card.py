"""A memory card of 64 MB for tests: it can be full, read-only, and mended."""

import subprocess
from contextlib import contextmanager

import pytest

SIZE_MB = 64
CHUNK = b"\0" * 65536


class MemoryCard:
    """A file system of its own in `folder`."""

    def __init__(self, folder):
        self.folder = folder
        self._ballast = folder / "ballast"

    def fill(self, leave_bytes=0):
        """Leave so much, not one byte more."""
        with self._ballast.open("ab", buffering=0) as ballast:
            try:
                while True:
                    ballast.write(CHUNK)
            except OSError:
                ballast.truncate(ballast.tell() - leave_bytes)

    def make_room(self):
        self._ballast.unlink(missing_ok=True)

    def make_read_only(self):
        """As the kernel does when a card fails; nothing may be open for writing."""
        _mount("-o", "remount,ro", self.folder)

    def mend(self):
        _mount("-o", "remount,rw", self.folder)

    def files(self):
        """Return the files that lie on it, but for what fills it."""
        files = (path for path in self.folder.rglob("*") if path.is_file())
        return sorted(str(path.relative_to(self.folder)) for path in files if path != self._ballast)


def _mount(*words):
    subprocess.run(["mount", *map(str, words)], check=True, capture_output=True)


@contextmanager
def memory_card(folder):
    """Put a card in; skip where nobody may mount.

    Faults of cards are also injected: test_service_spool, test_storing, test_logbook.
    """
    folder.mkdir()
    try:
        _mount("-t", "tmpfs", "-o", f"size={SIZE_MB}m", "tmpfs", folder)
    except subprocess.CalledProcessError:
        pytest.skip("needs the right to mount a small memory card")
    try:
        yield MemoryCard(folder)
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)
