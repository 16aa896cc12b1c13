"""A board to install on, in a folder, with a service manager that is played."""

import hashlib
import subprocess
import sys
import zipfile
from pathlib import Path

from etchwarden.installation.change import Change
from etchwarden.installation.laying import write_whole
from etchwarden.installation.layout import layout_of
from etchwarden.installation.places import Places
from etchwarden.installation.releases import COMPLETE, Releases
from etchwarden.installation.wheel import Wheel

ROOT = Path(__file__).resolve().parents[1]
BOARD = {path.name: path.read_bytes() for path in (ROOT / "systemd").iterdir() if path.is_file()}


def build_wheel(folder):
    """Build the wheel of the checkout, as hatchling of the tests' own environment does."""
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation",
         "--disable-pip-version-check", "--wheel-dir", str(folder), str(ROOT)],
        check=True,
    )  # fmt: skip
    return next(folder.glob("etchwarden-*.whl"))


def paper_wheel(folder, version="1.0", board=BOARD):
    """Write a wheel with the board's files and nothing else in it."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"etchwarden-{version}-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in board.items():
            archive.writestr(f"etchwarden/board/{name}", content)
    return Wheel.at(path)


class PaperReleases(Releases):
    """Makes releases that are a program and the board's files, without an environment."""

    def make(self, wheel):
        if self.is_complete(wheel.label):
            return
        folder = self.folder(wheel.label)
        write_whole(folder / "bin/etchwarden", f"#!/bin/sh\necho {wheel.version}\n".encode(), 0o755)
        for name, content in wheel.board.items():
            write_whole(folder / "lib/python3.11/site-packages/etchwarden/board" / name, content)
        write_whole(folder / COMPLETE, wheel.sha256.encode())


class PlayedBoard:
    """Notes what it is told; `at_work` and `finds` are what it answers."""

    def __init__(self):
        self.told = []
        self.at_work = ()
        self.finds = lambda: ()

    def busy(self):
        return self.at_work

    def stop(self):
        self.told.append("stop")

    def back_up(self):
        self.told.append("back up")

    def put_back(self):
        self.told.append("put back")

    def settle(self):
        self.told.append("settle")

    def start(self):
        self.told.append("start")

    def faults(self):
        return self.finds()


class Bench:
    """A board in a folder."""

    def __init__(self, folder):
        self.places = Places(folder / "root")
        self.releases = PaperReleases(self.places)
        self.board = PlayedBoard()
        self.said = []

    def change_to(self, wheel):
        return Change(
            places=self.places,
            releases=self.releases,
            board=self.board,
            wheel=wheel,
            say=self.said.append,
        )

    @property
    def version_that_runs(self):
        """What the command says that people at the board type."""
        done = subprocess.run([self.places.command], capture_output=True, text=True, check=True)
        return done.stdout.strip()

    def is_as_laid_by(self, wheel):
        return all(
            file.under(self.places.root).read_bytes() == file.content
            for file in layout_of(wheel.board)
        )


def files_under(root):
    """Return every file and link under `root`, without what lies in releases."""
    found = (path for path in root.rglob("*") if path.is_symlink() or path.is_file())
    return sorted(f"/{path.relative_to(root)}" for path in found if "/releases/" not in f"{path}")


def leaf_wheel(folder):
    """Write a wheel of a library of our own invention, and return the line of a lock for it."""
    path = folder / "leaf-1.0-py3-none-any.whl"
    parts = {
        "leaf.py": "",
        "leaf-1.0.dist-info/METADATA": "Metadata-Version: 2.1\nName: leaf\nVersion: 1.0\n",
        "leaf-1.0.dist-info/WHEEL": "Wheel-Version: 1.0\nRoot-Is-Purelib: true\n",
        "leaf-1.0.dist-info/RECORD": "",
    }
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return f"leaf==1.0 --hash=sha256:{digest}\n"


def with_lock(wheel, lock, folder):
    """Return a copy of `wheel` that locks other libraries."""
    target = folder / wheel.name
    with zipfile.ZipFile(wheel) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            is_lock = name == "etchwarden/board/requirements.lock"
            new.writestr(name, lock if is_lock else old.read(name))
    return target
