"""A board to install on, in a folder, with a service manager that is played."""

import hashlib
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing
from pathlib import Path

from etchwarden.installation.board import LiveBoard
from etchwarden.installation.change import Change
from etchwarden.installation.errors import InstallationError
from etchwarden.installation.file_layout import write_whole
from etchwarden.installation.layout import layout_of
from etchwarden.installation.paths import Places
from etchwarden.installation.releases import COMPLETE, Releases
from etchwarden.installation.wheel import Wheel

ROOT = Path(__file__).resolve().parents[3]
BOARD = {path.name: path.read_bytes() for path in (ROOT / "systemd").iterdir() if path.is_file()}
SCHEMA_OF = {"1.0": 3, "1.1": 4}


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

    def back_up(self, earlier):
        self.told.append("back up")
        return earlier

    def put_back(self, copies):
        self.told.append("put back" if copies == () else f"put back {copies}")

    def settle(self):
        self.told.append("settle")

    def start(self):
        self.told.append("start")

    def faults(self):
        return self.finds()


class BootingBoard(PlayedBoard):
    """Has one machine, whose daemon brings its logbook to the schema of the release in use."""

    def __init__(self, places):
        super().__init__()
        self.places = places
        self.book = places.records / "left/logbook.sqlite3"
        self.live = LiveBoard(places, lambda _said: None)

    def stop(self):
        pass

    def back_up(self, earlier):
        return self.live.back_up(earlier)

    def put_back(self, copies):
        self.live.put_back(copies)

    def start(self):
        """Start the daemon, as the board itself does after a power cut."""
        self.start_as(self.places.current.readlink().name.partition("-")[0])

    def start_as(self, version):
        """Start the daemon of a release; it notes its start, as a run."""
        schema = SCHEMA_OF[version]
        with closing(sqlite3.connect(self.book)) as book:
            (found,) = book.execute("PRAGMA user_version").fetchone()
            if found > schema:
                raise InstallationError("A newer program wrote this logbook.")
            book.execute("PRAGMA journal_mode = WAL")
            book.execute("CREATE TABLE IF NOT EXISTS run (id INTEGER PRIMARY KEY)")
            book.execute("INSERT INTO run DEFAULT VALUES")
            book.execute(f"PRAGMA user_version = {schema}")
            book.commit()

    @property
    def schema(self):
        with closing(sqlite3.connect(self.book)) as book:
            return book.execute("PRAGMA user_version").fetchone()[0]

    @property
    def runs(self):
        with closing(sqlite3.connect(self.book)) as book:
            return book.execute("SELECT count(*) FROM run").fetchone()[0]


class Bench:
    """A board in a folder."""

    def __init__(self, folder, board=None):
        self.places = Places(folder / "root")
        self.releases = PaperReleases(self.places)
        self.board = board or PlayedBoard()
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
