"""What a photo costs: process time, peak memory, bytes of G-code. Prints a table.

Each whole job is a process of its own, started as a person starts it, so that start-up counts.
"""

import re
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from etchphoto.decoder.loading import load_photo
from etchphoto.halftone import FLOYD_STEINBERG, JARVIS, STUCKI, diffuse
from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import prepare_job
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from support.samples.photo_files import PHOTOGRAPHS

pytestmark = pytest.mark.measure

ASTRONAUT = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")


@dataclass(frozen=True)
class Cost:
    """What one process used."""

    processor_s: float
    peak_mb: float


# A process inherits the peak of the one that started it, so a small one starts each job.
LAUNCHER = """
import os, sys
quiet = [(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)]
process = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ, file_actions=quiet)
_, status, used = os.wait4(process, 0)
print(os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, used.ru_maxrss)
"""


def cost_of(*arguments):
    """Run `etchwarden` with these arguments and return what it used."""
    command = [sys.executable, "-m", "etchwarden", *map(str, arguments)]
    launched = [sys.executable, "-S", "-c", LAUNCHER, *command]
    answer = subprocess.run(launched, stdout=subprocess.PIPE, text=True, check=True).stdout
    code, processor_s, peak_kib = answer.split()
    assert code == "0"
    return Cost(float(processor_s), int(peak_kib) * 1024 / 1e6)


def large_jpeg(path, *, is_progressive=False):
    """Write an 8000 × 6000 photo with detail and grain: 48 megapixels."""
    coarse = np.random.default_rng(4).integers(0, 256, (300, 400, 3), dtype=np.uint8)
    picture = Image.fromarray(coarse).resize((8000, 6000), Image.Resampling.BICUBIC)
    picture.save(path, quality=90, progressive=is_progressive)


def together(pids):
    """Return the memory that these processes have to themselves, shared pages once, in MB."""
    total_kib = 0
    for pid in pids:
        with suppress(OSError):
            text = Path(f"/proc/{pid}/smaps_rollup").read_text()
            total_kib += int(re.search(r"^Pss_Anon: +(\d+)", text, re.MULTILINE)[1])
    return total_kib * 1024 / 1e6


def tree(pid):
    """Return a process and those it has started."""
    children = []
    with suppress(OSError):
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [pid, *(one for child in children for one in tree(child))]


def peak_of_job(photo, folder, width_mm):
    """Prepare a job and return the most that it and its decoder had, looking every 4 ms."""
    command = [sys.executable, "-m", "etchwarden", "prepare", photo, "-o", folder]
    size = ["--width", str(width_mm)]
    with subprocess.Popen([*command, *size], stdout=subprocess.DEVNULL) as job:
        peak_mb = 0.0
        while job.poll() is None:
            peak_mb = max(peak_mb, together(tree(job.pid)))
            time.sleep(0.004)
    assert job.returncode == 0
    return peak_mb


def picture_of(megapixels):
    height = round((megapixels * 1e6 * 3 / 4) ** 0.5)
    coarse = np.random.default_rng(4).integers(0, 256, (300, 400, 3), dtype=np.uint8)
    size = round(megapixels * 1e6 / height), height
    return Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC)


def save_heic(picture, path, **options):
    pillow_heif.from_pillow(picture).save(path, quality=50, **options)


def save_deep(picture, path):
    codes = np.asarray(picture)[..., ::-1].astype(np.uint16) * 257
    cv2.imwrite(str(path), codes, [cv2.IMWRITE_PNG_COMPRESSION, 1])


LARGE = (
    ("48 MP JPEG", 48, lambda picture, path: picture.save(path, "JPEG", quality=90)),
    ("48 MP JPEG, progressive", 48,
     lambda picture, path: picture.save(path, "JPEG", quality=90, progressive=True)),
    ("48 MP PNG", 48, lambda picture, path: picture.save(path, "PNG", compress_level=1)),
    ("48 MP PNG, RGBA", 48,
     lambda picture, path: picture.convert("RGBA").save(path, "PNG", compress_level=1)),
    ("48 MP TIFF", 48, lambda picture, path: picture.save(path, "TIFF")),
    ("39 MP HEIC", 39, save_heic),
    ("20 MP HEIC, 4:4:4", 20, lambda picture, path: save_heic(picture, path, chroma="444")),
    ("12 MP WebP", 12, lambda picture, path: picture.save(path, "WEBP", quality=80, method=0)),
    ("12 MP PNG of 16 bits a colour", 12, save_deep),
)  # fmt: skip


def test_the_largest_photos_of_each_format(tmp_path):
    rows = []
    for what, megapixels, save in LARGE:
        photo = tmp_path / f"{what}.png"  # the name says nothing of the format, except to OpenCV
        save(picture_of(megapixels), photo)
        peak_mb = peak_of_job(photo, tmp_path / f"{what} job", 150)
        rows.append(
            (f"{what} to 1500 dots across", f"{peak_mb:.0f} MB", "unit, with the page: 300 MB")
        )

    show(rows)


def show(rows):
    print()
    for what, figure, bar in rows:
        print(f"  {what:<58} {figure:>18}   {bar}")


def test_whole_jobs(tmp_path):
    large_jpeg(tmp_path / "48.jpg")
    large_jpeg(tmp_path / "48-progressive.jpg", is_progressive=True)
    jobs = (
        ("512 × 512 photo to 1000 × 1000, Stucki", ASTRONAUT, 100, "stucki", "bar 1.0 s"),
        ("the same, Jarvis", ASTRONAUT, 100, "jarvis", ""),
        ("48-megapixel JPEG to 2000 × 2000, Jarvis", "48.jpg", 200, "jarvis", "bar 200 MB"),
        ("the same, progressive", "48-progressive.jpg", 200, "jarvis", "bar 230 MB"),
    )
    rows = []
    for what, photo, width_mm, halftone, bar in jobs:
        size = ("--width", width_mm, "--height", width_mm, "--halftone", halftone)
        used = cost_of("prepare", tmp_path / photo, "-o", tmp_path / what, *size)
        rows.append((what, f"{used.processor_s:.2f} s, {used.peak_mb:.0f} MB", bar))

    show(rows)


def test_halftones_alone():
    coverage = np.random.default_rng(1).random((2000, 2000), dtype=np.float32)
    kernels = {"Floyd-Steinberg": FLOYD_STEINBERG, "Jarvis": JARVIS, "Stucki": STUCKI}
    rows = []
    for name, kernel in kernels.items():
        times = []
        for _ in range(3):
            start_s = time.process_time()
            diffuse(coverage, kernel)
            times.append(time.process_time() - start_s)
        bar = "bar 0.4 s" if name == "Jarvis" else ""
        rows.append((f"{name}, 2000 × 2000", f"{min(times):.3f}-{max(times):.3f} s", bar))

    show(rows)


def test_bytes_for_each_run_of_equal_dots(tmp_path):
    head, recipe = PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"]
    rows = []
    for name, path, _ in PHOTOGRAPHS:
        for power_ratio, bar in ((0.6, "bar 7.6"), (1.0, "bar 8.1")):
            order = PhotoOrder(
                head=head,
                recipe=replace(recipe, power_ratio=power_ratio),
                width_mm=100.0,
                height_mm=100.0,
                halftone="stucki",
            )
            folder = tmp_path / f"{name} {power_ratio}"
            sheet = prepare_job(load_photo(Path(path)), order, folder=folder)
            per_run = sheet.gcode_bytes / sheet.gcode_lines
            rows.append((f"{name}, {power_ratio:.0%}", f"{per_run:.2f} bytes a line", bar))

    show(rows)
