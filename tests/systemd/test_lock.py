"""The lock of the libraries, resolved as on every kind of board: each wheel by its hash.

It fetches the wheels (some 70 MB a board, once: pip keeps them) from wherever pip is told to. What
runs here need not be what the board runs, so pip is told the board's Python and processor; markers
are worked out before, because pip works them out for the Python that it runs on.
"""

import hashlib
import re
import subprocess
import sys

import pytest
from packaging.markers import Marker
from packaging.utils import canonicalize_name, parse_wheel_filename

from support.harnesses.install_bench import ROOT

# Wheels of these generations run on Debian 12 (glibc 2.36) and later: PEP 600.
GLIBCS = ("manylinux_2_34", "manylinux_2_28", "manylinux_2_17", "manylinux2014")
BOARDS = [(python, cpu) for python in ("3.11", "3.13") for cpu in ("x86_64", "aarch64")]
PINNED = re.compile(r"(?P<name>[\w.-]+)==(?P<version>\S+)(?: ; (?P<marker>[^\\]*\S))? \\\n")

pytestmark = pytest.mark.network


def pinned(lock, python):
    """Return what the lock has for a Python, as text by name."""
    parts = re.split(r"\n(?=[^\s#])", lock.read_text())[1:]
    found = {canonicalize_name(PINNED.match(part)["name"]): part for part in parts}
    marks = {name: PINNED.match(part)["marker"] for name, part in found.items()}
    return {
        name: part
        for name, part in found.items()
        if not marks[name] or Marker(marks[name]).evaluate({"python_version": python})
    }


@pytest.mark.parametrize(("python", "cpu"), BOARDS)
@pytest.mark.parametrize("name", ["requirements.lock", "build.lock"])
def test_every_wheel_of_the_lock_is_to_be_had_by_its_hash(tmp_path, name, python, cpu):
    lock = pinned(ROOT / "systemd" / name, python)
    (tmp_path / "lock").write_text("\n".join(lock.values()))

    fetch(tmp_path, python, cpu)

    wheels = {parse_wheel_filename(path.name)[0]: path for path in tmp_path.glob("*.whl")}
    assert wheels.keys() == lock.keys()
    for found, path in wheels.items():
        assert hashlib.sha256(path.read_bytes()).hexdigest() in lock[found]


def test_the_library_for_the_pins_is_the_systems_where_there_is_no_wheel():
    lock = ROOT / "systemd/requirements.lock"

    assert "lgpio" in pinned(lock, "3.11")
    assert "lgpio" not in pinned(lock, "3.13")


def fetch(folder, python, cpu):
    platforms = [f"--platform={glibc}_{cpu}" for glibc in GLIBCS]
    done = subprocess.run(
        [sys.executable, "-m", "pip", "download", "--quiet", "--require-hashes",
         "--only-binary=:all:", f"--python-version={python}", "--implementation=cp", *platforms,
         "--dest", folder, "--requirement", folder / "lock"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
