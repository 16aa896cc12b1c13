"""Changes a board's release, killed at each of its file operations in turn: FOLDER WAY.

A child process is killed with SIGKILL when it is about to do its first, second, third … operation
that writes. Then the board boots; then the change is run again. One line of JSON a cut.
WAY: `finishes`, `fails` (the newer release's self-check), or `first` (nothing was there before).
"""

import json
import os
import shutil
import signal
import sys
from pathlib import Path

from etchwarden.installation.errors import InstallationError
from etchwarden.installation.layout import layout_of
from etchwarden.installation.paths import Places
from support.harnesses.install_bench import BOARD, Bench, BootingBoard, paper_wheel

WRITES = {"os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.symlink", "os.link", "os.truncate"}
FOLDER = Path(sys.argv[1])
UNIT = "etchwarden-web.service"
# Of the board's files one of each kind, so that there are fewer operations to be cut at.
FEW = {
    name: BOARD[name] for name in (UNIT, "60-etchwarden.rules", "page.toml", "requirements.lock")
}
LAYOUT = [line for line in BOARD["layout.txt"].decode().splitlines() if line.split()[0] in FEW]
FEW["layout.txt"] = "\n".join(LAYOUT).encode()
OLD = paper_wheel(FOLDER / "old", "1.0", FEW)
NEW = paper_wheel(FOLDER / "new", "1.1", FEW | {UNIT: b"[Service]\nExecStart=/newer\n"})
RUNS_BEFORE = 4
WANTED = OLD if sys.argv[2] == "first" else NEW


def bench_in(folder):
    bench = Bench(folder, BootingBoard(Places(folder / "root")))
    if sys.argv[2] == "fails":
        bench.board.finds = lambda: ("broken",) if bench.version_that_runs == "1.1" else ()
    return bench


def start_with(folder):
    """Make a board with a machine, and with the older release unless it is to be the first."""
    bench = bench_in(folder)
    bench.places.settings.mkdir(parents=True)
    (bench.places.settings / "left.toml").touch()
    bench.board.book.parent.mkdir(parents=True)
    if WANTED is NEW:
        bench.change_to(OLD).run()
    for _ in range(RUNS_BEFORE):
        bench.board.start_as("1.0")


def kill_at(number):
    """Have this process killed when it is about to do its `number`th write."""
    done = 0

    def count(event, arguments):
        nonlocal done
        is_write = event in WRITES or (event == "open" and arguments[2] & (os.O_WRONLY | os.O_RDWR))
        if is_write or event == "sqlite3.connect":
            done += 1
            if done == number:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(count)


def is_killed(bench, number):
    child = os.fork()
    if child == 0:
        kill_at(number)
        attempt(bench)
        os._exit(0)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def attempt(bench):
    try:
        bench.change_to(WANTED).run()
    except InstallationError as error:
        return str(error)
    return ""


def boots(bench):
    """Return whether a board that is switched on now has one whole release and all its records."""
    if WANTED is OLD and not bench.places.current.exists():
        return not bench.places.command.exists()
    try:
        bench.board.start()
    except InstallationError:
        return False
    return has_whole_files(bench) and bench.board.runs > RUNS_BEFORE


def has_whole_files(bench):
    """Return whether each file is one release's, and none is of a newer release than is used."""
    is_newer_used = bench.places.current.readlink().name == NEW.label
    for older, newer in zip(layout_of(OLD.board), layout_of(NEW.board), strict=True):
        path = older.under(bench.places.root)
        if not path.exists():
            return WANTED is OLD
        is_newer = path.read_bytes() == newer.content != older.content
        if path.read_bytes() not in {older.content, newer.content} or is_newer > is_newer_used:
            return False
    return True


def state_of(bench):
    label = bench.places.current.readlink().name
    wheel = {OLD.label: OLD, NEW.label: NEW}[label]
    return {
        "version": bench.version_that_runs,
        "is_whole": bench.is_as_laid_by(wheel),
        "schema": bench.board.schema,
        "runs": bench.board.runs,
        "note": bench.places.unfinished.exists(),
    }


def main():
    start_with(FOLDER / "start")
    number = 0
    goes_on = True
    while goes_on:
        number += 1
        folder = FOLDER / f"cut-{number}"
        shutil.copytree(FOLDER / "start", folder, symlinks=True)
        bench = bench_in(folder)
        goes_on = is_killed(bench, number)
        was_fit = boots(bench)
        said = attempt(bench)
        found = {"cut": number, "boots": was_fit, "said": said} | state_of(bench)
        sys.stdout.write(f"{json.dumps(found)}\n")
        shutil.rmtree(folder)


main()
