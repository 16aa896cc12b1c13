"""From an unknown surface to a portrait by commands alone; prints how true the portrait is."""

import json
import time
from io import BytesIO

import cv2
import numpy as np
import pytest
from PIL import Image

from darkroom.practice import MM_PER_PX
from etchphoto.light import lightness
from etchwire.catalogue.examples import PRACTICE_REGISTER
from etchwire.sheet import read_sheet
from support.harnesses.settings_by_command import NAMED, bench_on_unknown_surface

pytestmark = pytest.mark.measure


def face(side=160):
    """Return a picture with soft greys and a straight edge, as linear luminance: invented."""
    y, x = np.mgrid[0:side, 0:side] / (side - 1)
    soft = 0.5 + 0.4 * np.cos(3.1 * x) * np.cos(2.3 * y - 0.4)
    soft[:, int(side * 0.85) :] = 0.05
    codes = np.where(soft <= 0.0031308, 12.92 * soft, 1.055 * soft ** (1 / 2.4) - 0.055)
    file = BytesIO()
    Image.fromarray(np.rint(codes * 255).astype(np.uint8)).save(file, "PNG")
    return file.getvalue(), soft


def test_from_an_unknown_surface_to_a_portrait_that_follows_its_photo(tmp_path):
    began_s = time.monotonic()
    with bench_on_unknown_surface(tmp_path, speedup=40) as bench:
        find_settings(bench)
    print(f"\nthe whole way took {time.monotonic() - began_s:.0f} s")


def find_settings(bench):
    here = bench.folder
    pair = ("--surface", NAMED)

    bench.say(
        "card", "power", "-o", here / "first", "--head", here / "shed.toml", *pair,
        "--steps", 5, 4, "--place", 70, 70,
    )  # fmt: skip
    bench.etch(here / "first")
    bench.say(
        "read", bench.photograph(here / "first"), "--wiped", "--accept", "--fingernail", "yes"
    )
    bench.say("card", "tone", "-o", here / "greys", "--head", "shed", *pair,
              "--at", 90, 0, "--steps", 12)  # fmt: skip
    bench.etch(here / "greys")
    bench.say("read", bench.photograph(here / "greys"), "--wiped", "--accept")
    bench.say("card", "register", "-o", here / "rows", "--head", "shed", *pair, "--at", 180, 0)
    bench.etch(here / "rows")
    bench.say("read", bench.photograph(here / "rows"), "--wiped", "--accept")
    photo, wanted = face()
    (here / "face.png").write_bytes(photo)
    bench.say("prepare", here / "face.png", "-o", here / "portrait", "--width", 24,
              "--head", "shed", *pair, "--at", 20, 100)  # fmt: skip
    bench.etch(here / "portrait")

    told = json.loads(bench.say("timeline", "--head", "shed", *pair, "--json"))
    kinds = [event["kind"] for event in reversed(told["events"])]
    assert kinds == [
        "card", "run", "reading", "recipe", "card", "run", "reading", "recipe",
        "card", "run", "reading", "run",
    ]  # fmt: skip
    register = read_sheet(here / "portrait").head.register
    high_mm_per_min = read_sheet(here / "portrait").recipe.feed_mm_per_min
    lead_mm, true_mm = (one.lead_mm(high_mm_per_min) for one in (register, PRACTICE_REGISTER))
    off = lightness_off(bench.look(here / "portrait"), wanted)
    rms = float(np.sqrt((off**2).mean()))
    print(f"\nlead {lead_mm:.4f} mm, true {true_mm:.4f}; portrait off by {rms:.2f} L* RMS")
    assert lead_mm == pytest.approx(true_mm, abs=0.02)
    assert rms < 4.0


def lightness_off(seen, wanted):
    """Return how far the tile's L* lies from the photo's, both as the eye blends them.

    The photo's white is bare tile, its black the darkest that was fired (Murray and Davies).
    """
    black = float(np.quantile(seen, 0.02))
    blended = cv2.GaussianBlur(seen, (0, 0), 0.8 / MM_PER_PX)
    meant = cv2.resize(black + wanted * (1 - black), seen.shape[::-1])
    meant = cv2.GaussianBlur(meant, (0, 0), 0.8 / MM_PER_PX)
    inside = (slice(80, -80), slice(80, -80))
    return lightness(blended[inside]) - lightness(meant[inside])
