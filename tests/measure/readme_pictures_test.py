"""The two pictures of README, made anew by the practice machine and a phone's browser.

`pytest -m measure tests/measure/readme_pictures_test.py -s` writes them into `web/pictures`.
"""

import socket
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image, ImageOps

from etchphoto.demo import LIGHTHOUSE
from support.harnesses.page_bench import browser, phone_options

pytestmark = pytest.mark.measure

PICTURES = Path(__file__).resolve().parents[2] / "web" / "pictures"
PRACTICE = [sys.executable, "-m", "etchwarden", "practice"]
HALF_OF_THE_ROWS = "Number(document.querySelector('[data-live=rows_done]')?.textContent) >= 260"
SIDE_PX = 400


def test_the_page_on_a_phone_is_drawn_for_readme():
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = str(free.getsockname()[1])
    with subprocess.Popen(
        [*PRACTICE, "--port", port], stdout=subprocess.PIPE, text=True
    ) as running:
        try:
            next(line for line in running.stdout if f":{port}" in line)
            with browser() as chromium:
                options = phone_options(width_px=390) | {
                    "device_scale_factor": 1,
                    "bypass_csp": True,
                }
                page = chromium.new_context(**options).new_page()
                page.goto(f"http://127.0.0.1:{port}")
                page.wait_for_function(HALF_OF_THE_ROWS, timeout=120_000)
                page.screenshot(path=PICTURES / "phone.png", animations="disabled")
        finally:
            running.terminate()
    picture = Image.open(PICTURES / "phone.png").convert("RGB")
    picture.quantize(128).save(PICTURES / "phone.png", optimize=True)


def test_the_tile_is_drawn_beside_its_photo_for_readme(tmp_path):
    subprocess.run([*PRACTICE, "--once", "--out", tmp_path / "out"], check=True)
    etched = Image.open(tmp_path / "out" / "etched.png").convert("L")
    photo = Image.open(LIGHTHOUSE).convert("L")
    size = (SIDE_PX, SIDE_PX)
    pair = Image.new("L", (2 * SIDE_PX + 12, SIDE_PX), 255)
    pair.paste(ImageOps.fit(photo, size), (0, 0))
    pair.paste(ImageOps.fit(etched, size), (SIDE_PX + 12, 0))
    pair.save(PICTURES / "tile.jpg", quality=70)
