"""What runs under the units, under their own filters of system calls: nothing may be killed."""

import io
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from etchwire.children.child_program import PREFLIGHT, REMAINDER
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from support.harnesses.gcode_bench import job_of
from support.harnesses.page_bench import draw_picture, require
from support.samples.photo_files import encoded, scene

HERE = Path(__file__).parent
UNITS = HERE.parents[1] / "systemd"
DAEMON, PAGE = UNITS / "etchwarden-daemon@.service", UNITS / "etchwarden-web.service"
PATIENCE_S = 120


@pytest.fixture
def under():
    require("systemd-analyze")

    def under(unit, *arguments, request=None):
        return subprocess.run(
            [sys.executable, HERE / "sieve.py", unit, sys.executable, *map(str, arguments)],
            input=json.dumps({"parent": os.getpid(), "request": request}),
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
    request = {"job": str(job / GCODE_NAME), "machine": None}

    done = under(DAEMON, "-P", "-m", PREFLIGHT.module, request=request)

    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["result"]["verdict"] == "ready"


def test_the_rest_of_a_job_is_written_under_the_daemons_filter(under, job):
    rest = job / "rest"
    request = {"job": str(job), "rest": str(rest), "row": 2, "x_mm": 1.0}

    done = under(DAEMON, "-P", "-m", REMAINDER.module, request=request)

    assert done.returncode == 0, done.stderr
    assert (rest / GCODE_NAME).exists()


@pytest.mark.parametrize(
    ("unit", "module"),
    [(DAEMON, "etchdaemon.assembly"), (DAEMON, "etchdaemon.safe"),
     (PAGE, "etchwarden.commands.page"), (PAGE, "etchphoto.job.prepare"),
     (PAGE, "etchproof.choosing.choice"), (PAGE, "cv2"), (PAGE, "pillow_heif")],
)  # fmt: skip
def test_a_module_loads_under_its_units_filter(under, unit, module):
    done = under(unit, "-c", f"import {module}")

    assert done.returncode == 0, done.stderr


def test_a_photo_is_prepared_under_the_pages_filter(under, tmp_path):
    photo, made = draw_picture(tmp_path), tmp_path / "made"

    done = under(PAGE, "-m", "etchwarden", "prepare", photo, "-o", made, "--width", "20")

    assert done.returncode == 0, done.stderr
    assert (made / GCODE_NAME).exists()


DECODED = """
import sys
import numpy as np
from etchphoto.small_copy import small_copy
image = small_copy(sys.argv[1], "the photo", 30)
print(image.size, np.asarray(image).mean(axis=(0, 1)).round().tolist())
"""


def deep_png():
    return cv2.imencode(".png", scene()[..., ::-1].astype(np.uint16) * 257)[1].tobytes()


def heic():
    file = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(scene())).save(file, quality=-1)
    return file.getvalue()


@pytest.mark.parametrize(
    "photo",
    [
        encoded(scene(), "JPEG", quality=95),
        encoded(scene(), "JPEG", quality=95, progressive=True),
        encoded(scene(), "PNG"), deep_png(),
        encoded(scene(), "TIFF"), encoded(scene(), "TIFF", compression="tiff_lzw"),
        encoded(scene(), "WEBP", lossless=True), heic(),
    ],
    ids=["jpeg", "progressive", "png", "png16", "tiff", "lzw", "webp", "heic"],
)  # fmt: skip
def test_every_format_is_decoded_under_the_pages_filter(under, tmp_path, photo):
    (tmp_path / "photo").write_bytes(photo)

    done = under(PAGE, "-c", DECODED, tmp_path / "photo")

    assert done.returncode == 0, done.stderr
    size, mean = re.fullmatch(r"(\(.*\)) (\[.*\])\n", done.stdout).groups()
    assert size == "(30, 20)"
    assert json.loads(mean) == pytest.approx(scene().mean(axis=(0, 1)), abs=3)


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
