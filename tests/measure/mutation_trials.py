"""Tries mutants: `cd tests && python -m measure.mutation_trials [WORDS OF A NAME]` prints a table.

Each is a change in a copy of sources and tests, and its tests run there, in a child that is forked
with the test libraries loaded; they stop at the first failure. The program itself is loaded by the
children only, and whoever goes on writing meanwhile disturbs nothing.
"""

import os
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

import hypothesis.stateful  # noqa: F401 - loaded once, for every child
import pytest

from measure.mutants import MUTANTS, Mutant

ROOT: Final = Path(__file__).resolve().parents[2]
COPIED: Final = (
    "daemon",
    "web",
    "tests",
    "systemd",
    "pyproject.toml",
    "README.md",
    "DEVELOPERS.md",
)
PATIENCE_S: Final = 300.0  # whoever hangs for longer has been noticed
LEAST_KILLED: Final = 0.95
OPTIONS: Final = (
    "-x", "-q", "-p", "no:cacheprovider", "-p", "no:schemathesis",
    "-W", "ignore::pytest.PytestAssertRewriteWarning",  # what is loaded here is no test
)  # fmt: skip


def passes(copy: Path, tests: tuple[str, ...], *, says_why: bool = False) -> bool:
    """Return whether the tests pass in the folder `copy`."""
    child = os.fork()
    if child == 0:
        _be_child(copy, tests, is_silent=not says_why)
    until_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < until_s:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) == pytest.ExitCode.OK
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def _be_child(copy: Path, tests: tuple[str, ...], *, is_silent: bool) -> None:
    os.setsid()
    if is_silent:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
    os.chdir(copy)
    sources = [str(copy / name) for name in ("daemon", "web")]
    sys.path[:0] = sources
    os.environ["PYTHONPATH"] = os.pathsep.join(sources)
    sys.dont_write_bytecode = True
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    code = 1
    try:
        code = int(pytest.main([*OPTIONS, *(f"tests/{name}" for name in tests)]))
    finally:
        sys.stdout.flush()
        os._exit(code)


def is_killed(mutant: Mutant, copy: Path) -> bool:
    """Return whether a test notices `mutant`; the copy is as it was afterwards."""
    path = copy / "daemon/etchdaemon" / mutant.file
    source = path.read_text()
    path.write_text(source.replace(mutant.text, mutant.instead))
    try:
        return not passes(copy, mutant.tests)
    finally:
        path.write_text(source)


def _copy_to(copy: Path) -> None:
    for name in COPIED:
        if (ROOT / name).is_file():
            shutil.copy(ROOT / name, copy / name)
        else:
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))


def main(words: list[str]) -> int:
    """Print a line for each mutant and the share that was killed; return the exit code."""
    mutants = [mutant for mutant in MUTANTS if not words or any(w in mutant.name for w in words)]
    survivors = []
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        _copy_to(copy)
        tests = sorted({name for mutant in mutants for name in mutant.tests})
        if not passes(copy, tuple(tests), says_why=True):
            print("without a mutant the tests fail already")
            return 1
        for mutant in mutants:
            begun_s = time.monotonic()
            is_noticed = is_killed(mutant, copy)
            said = "killed" if is_noticed else "SURVIVES"
            print(f"{said:9}{time.monotonic() - begun_s:6.1f} s  {mutant.file:46}{mutant.name}",
                  flush=True)  # fmt: skip
            if not is_noticed:
                survivors.append(mutant)
    share = 1 - len(survivors) / len(mutants)
    print(f"{len(mutants) - len(survivors)} of {len(mutants)} mutants killed, {share:.1%}")
    for mutant in survivors:
        print(f"  {mutant.name}: {mutant.survives_because or 'NOT EXPLAINED'}")
    is_well = share >= LEAST_KILLED and all(mutant.survives_because for mutant in survivors)
    return 0 if is_well else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
