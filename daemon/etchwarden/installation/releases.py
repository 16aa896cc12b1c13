"""The releases that lie on a board: each in a folder of its own, complete or not there."""

import os
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etchwarden.installation.errors import StepFailed
from etchwarden.installation.file_layout import link_whole, write_whole
from etchwarden.installation.paths import Places
from etchwarden.installation.programs import make_environment, pip, run, source_of
from etchwarden.installation.wheel import BOARD_FOLDER, LOCK_NAME, Wheel

COMPLETE: Final = "complete"  # the mark that is set last
COMMAND: Final = "../../../opt/etchwarden/current/bin/etchwarden"  # from /usr/local/bin
PROGRAMS: Final = ("etchwarden", "etchwarden-safe")
# Since then lgpio has no wheels, and the one that the system brings has to do.
TAKES_SYSTEMS_LIBRARIES_FROM: Final = (3, 13)


@dataclass(frozen=True, slots=True)
class Releases:
    """The releases of a board. `wheelhouse`: a folder to take libraries from, not a registry."""

    places: Places
    wheelhouse: Path | None = None
    python: str = sys.executable

    def make(self, wheel: Wheel) -> None:
        """Make the release of `wheel`, unless it is there; raise StepFailed.

        An environment cannot be moved, so it is made in its place and marked when it is whole.
        """
        if self.is_complete(wheel.label):
            return
        folder = self.folder(wheel.label)
        shutil.rmtree(folder, ignore_errors=True)
        try:
            self._fill(folder, wheel)
        except (StepFailed, OSError):
            shutil.rmtree(folder, ignore_errors=True)  # the card may be full of it
            raise

    def _fill(self, folder: Path, wheel: Wheel) -> None:
        folder.parent.mkdir(parents=True, exist_ok=True)
        shared = ["--system-site-packages"] if self._shares_libraries else []
        make_environment(self.python, folder, *shared)
        lock = folder / LOCK_NAME
        lock.write_bytes(wheel.board[LOCK_NAME])
        ours = folder / "wheel.lock"
        ours.write_text(
            f"etchwarden @ {wheel.path.resolve().as_uri()} --hash=sha256:{wheel.sha256}\n"
        )
        install = ["install", "--quiet", "--ignore-installed", "--require-hashes"]
        install += source_of(self.wheelhouse)
        pip(folder, *install, "--only-binary=:all:", "--requirement", str(lock))
        pip(folder, *install, "--no-deps", "--requirement", str(ours))
        for program in PROGRAMS:
            run([str(folder / "bin" / program), "--help"])
        os.sync()  # thousands of files; one of them missing after a power cut would be found late
        write_whole(folder / COMPLETE, f"{wheel.sha256}\n".encode())

    def folder(self, label: str) -> Path:
        """Return the folder of a release."""
        return self.places.releases / label

    def is_complete(self, label: str) -> bool:
        """Return whether a release is there and whole."""
        return (self.folder(label) / COMPLETE).exists()

    def current(self) -> str | None:
        """Return the label of the release in use."""
        return _label(self.places.current)

    def previous(self) -> str | None:
        """Return the label of the release before it."""
        return _label(self.places.previous)

    def switch(self, label: str, before: str | None) -> None:
        """Use the release from now on, and keep the one that was in use before it."""
        if before is None:
            self.places.previous.unlink(missing_ok=True)
        else:
            link_whole(self.places.previous, f"releases/{before}")
        link_whole(self.places.current, f"releases/{label}")
        link_whole(self.places.command, COMMAND)

    def board_files(self, label: str) -> dict[str, bytes]:
        """Return the board's files as a release that is there brings them."""
        pattern = f"lib/python3.*/site-packages/{BOARD_FOLDER}*"
        return {path.name: path.read_bytes() for path in self.folder(label).glob(pattern)}

    def prune(self) -> None:
        """Keep two releases: the one in use and the one before it."""
        kept = {self.current(), self.previous()}
        for folder in self.places.releases.iterdir():
            if folder.name not in kept:
                shutil.rmtree(folder)

    @property
    def _shares_libraries(self) -> bool:
        code = "import sys; print(*sys.version_info[:2])"
        major, minor = run([self.python, "-c", code]).split()
        return (int(major), int(minor)) >= TAKES_SYSTEMS_LIBRARIES_FROM


def _label(link: Path) -> str | None:
    return link.readlink().name if link.is_symlink() else None
