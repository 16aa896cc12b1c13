"""What runs under the units, under their own filters of system calls: nothing may be killed."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from etchwire.sheet import GCODE_NAME, SHEET_NAME
from gcode_bench import job_of
from page_bench import draw_picture, require

HERE = Path(__file__).parent
UNITS = HERE.parents[1] / "systemd"
DAEMON, PAGE = UNITS / "etchwarden-daemon@.service", UNITS / "etchwarden-web.service"
PATIENCE_S = 120


@pytest.fixture
def under():
    require("systemd-analyze")

    def under(unit, *arguments):
        return subprocess.run(
            [sys.executable, HERE / "sieve.py", unit, sys.executable, *map(str, arguments)],
            capture_output=True, text=True, timeout=PATIENCE_S, check=False,
        )  # fmt: skip

    return under


@pytest.fixture
def job(tmp_path):
    gcode, sheet = job_of(np.ones((5, 40)))
    (tmp_path / GCODE_NAME).write_bytes(gcode)
    (tmp_path / SHEET_NAME).write_text(sheet.to_json())
    return tmp_path


def test_the_check_of_a_job_runs_under_the_daemons_filter(under, job):
    index = job / "index.json"

    done = under(DAEMON, "-m", "etchpath.preflight_process", job / GCODE_NAME, "--index", index)

    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)
    assert index.exists()


def test_the_rest_of_a_job_is_written_under_the_daemons_filter(under, job):
    rest = job / "rest"

    done = under(DAEMON, "-P", "-m", "etchpath.reentry_process", job, rest, "--row=2", "--x-mm=1.0")

    assert done.returncode == 0, done.stderr
    assert (rest / GCODE_NAME).exists()


@pytest.mark.parametrize(
    ("unit", "module"),
    [(DAEMON, "etchdaemon.assembly"), (DAEMON, "etchdaemon.safe"), (PAGE, "etchwarden.page"),
     (PAGE, "etchphoto.job"),
     (PAGE, "etchproof.choosing"), (PAGE, "cv2"), (PAGE, "pillow_heif")],
)  # fmt: skip
def test_a_module_loads_under_its_units_filter(under, unit, module):
    done = under(unit, "-c", f"import {module}")

    assert done.returncode == 0, done.stderr


def test_a_photo_is_prepared_under_the_pages_filter(under, tmp_path):
    photo, made = draw_picture(tmp_path), tmp_path / "made"

    done = under(PAGE, "-m", "etchwarden", "prepare", photo, "-o", made, "--width", "20")

    assert done.returncode == 0, done.stderr
    assert (made / GCODE_NAME).exists()


def test_a_call_that_is_not_allowed_kills(under):
    done = under(DAEMON, "-c", "import os; os.chroot('/')")

    assert done.returncode == -signal.SIGSYS


@pytest.mark.parametrize(
    ("unit", "forbidden", "error"),
    [
        (DAEMON, "import mmap; mmap.mmap(-1, 99, prot=7)", "PermissionError"),
        (PAGE, "import mmap; mmap.mmap(-1, 99, prot=7)", "PermissionError"),
        (DAEMON, "import socket; socket.socket()", "Address family not supported"),
        (DAEMON, "import socket; socket.socket(socket.AF_NETLINK)", "not supported"),
        (PAGE, "import socket; socket.socket(socket.AF_PACKET)", "not supported"),
    ],
)
def test_what_a_unit_forbids_is_refused(under, unit, forbidden, error):
    done = under(unit, "-c", forbidden)

    assert done.returncode == 1
    assert error in done.stderr
