"""A memory card for tests: it can be full, read-only, fail under open files, and be mended."""

import os
import subprocess
from contextlib import contextmanager
from pathlib import Path

import pytest

SIZE_BYTES = 144_000_000  # a photo is taken where it leaves 100 MB free
WORN_SIZE_MB = 128
CHUNK = b"\0" * 65536
SPARED_BYTES = 1_000_000  # written bit by bit, up to the last


class MemoryCard:
    """A file system of its own in `folder`."""

    def __init__(self, folder):
        self.folder = folder
        self._ballast = folder / "ballast"

    def fill(self, leave_bytes=0):
        """Leave so much, not one byte more."""
        with self._ballast.open("ab", buffering=0) as ballast:
            try:
                os.posix_fallocate(ballast.fileno(), 0, max(self._free_bytes() - SPARED_BYTES, 1))
                ballast.seek(0, os.SEEK_END)
                while True:
                    ballast.write(CHUNK)
            except OSError:
                ballast.truncate(ballast.tell() - leave_bytes)

    def _free_bytes(self):
        room = os.statvfs(self.folder)
        return room.f_bavail * room.f_frsize

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


class RamCard(MemoryCard):
    """A file system in memory, which is full when it is made as small as what lies on it."""

    def fill(self, leave_bytes=0):
        self._ballast.write_bytes(b"0")  # a size of nothing would be one without end
        room = os.statvfs(self.folder)
        left = leave_bytes // room.f_frsize
        self._make_size((room.f_blocks - room.f_bfree + left) * room.f_frsize)

    def make_room(self):
        self._make_size(SIZE_BYTES)
        super().make_room()

    def _make_size(self, size_bytes):
        _mount("-o", f"remount,size={size_bytes}", self.folder)


class WornCard(MemoryCard):
    """A file system as a real card has one: when it finds a fault, the kernel stops all writing."""

    def __init__(self, folder, image):
        super().__init__(folder)
        self._image = image
        self._put_in()

    def fail(self):
        """Have the kernel find a fault, whatever is open for writing.

        https://docs.kernel.org/admin-guide/ext4.html, `errors=remount-ro`; `trigger_fs_error`
        stands in fs/ext4/sysfs.c of the kernel.
        """
        (device,) = (
            line.split()[0]
            for line in Path("/proc/mounts").read_text().splitlines()
            if line.split()[1] == str(self.folder)
        )
        Path("/sys/fs/ext4", Path(device).name, "trigger_fs_error").write_text("by a test")

    def mend(self):
        """Switch the box off and on, nothing of it being open: the card is checked on the way."""
        _run("umount", self.folder)
        _run("e2fsck", "-p", self._image, may_end=(0, 1))
        self._put_in()

    def _put_in(self):
        _mount("-o", "loop,errors=remount-ro", self._image, self.folder)


def _mount(*words):
    _run("mount", *words)


def _run(*words, may_end=(0,)):
    done = subprocess.run(list(map(str, words)), capture_output=True, check=False)
    if done.returncode not in may_end:
        raise subprocess.CalledProcessError(done.returncode, words, done.stdout, done.stderr)


@contextmanager
def memory_card(folder):
    """Put a card in; skip where nobody may mount.

    Faults of cards are also injected: test_service_spool, test_storing, test_logbook.
    """
    folder.mkdir()
    try:
        _mount("-t", "tmpfs", "-o", f"size={SIZE_BYTES}", "tmpfs", folder)
    except subprocess.CalledProcessError:
        pytest.skip("needs the right to mount a small memory card")
    try:
        yield RamCard(folder)
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


@contextmanager
def worn_card(folder):
    """Put a card in that can be made to fail; skip where nobody may."""
    folder.mkdir()
    image = folder.with_name(f"{folder.name}.img")
    with image.open("wb") as file:
        file.truncate(WORN_SIZE_MB * 1_000_000)
    try:
        _run("mkfs.ext4", "-q", "-F", image)
        card = WornCard(folder, image)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("needs the right to mount an image of a memory card")
    try:
        yield card
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)
