"""Every view of the page at three widths in both schemes, for people to look at.

`pytest -m measure tests/measure/page_pictures_test.py -s` prints the folder they lie in.
"""

import pytest

from craft_answers import craft
from fake_daemon import STATES
from page_bench import SCHEMES, WIDTHS_PX, browser, phone_options, served_page
from photo_files import PHOTOGRAPHS
from picture_bench import draft_to_proof

pytestmark = pytest.mark.measure

ASTRONAUT = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
VIEWS = {"logbook": "/logbook", "etch": "/logbook/7", "phones": "/phones", "pair": "/pair"}


def test_every_view_is_there_to_look_at(tmp_path):
    pictures = tmp_path / "views"
    with served_page(tmp_path, open_to_loopback=True) as served, browser() as chromium:
        for state in [*STATES, "away"]:
            if state == "away":
                served.daemon.go_away()
            else:
                served.daemon.tell(state, time_factor=20)
            take(chromium, served.url, pictures, f"watch, {state}")
        served.daemon.come_back()
        for name, path in VIEWS.items():
            take(chromium, served.url + path, pictures, name)
        served.daemon.answers |= craft(batch="the next box")
        draft = draft_to_proof(served.app, ASTRONAUT, width_mm=80, height_mm=100)
        for step in ("", "/tile", "/cut", "/look", "/proof"):
            address = served.url + (draft + step if step else "/new")
            take(chromium, address, pictures, f"new picture, {step.strip('/') or 'photo'}")
    print(f"\n{len(list(pictures.iterdir()))} pictures in {pictures}")


def take(chromium, url, folder, name):
    for scheme in SCHEMES:
        for width_px in WIDTHS_PX:
            context = chromium.new_context(**phone_options(width_px, scheme))
            page = context.new_page()
            page.goto(url, wait_until="load")
            page.screenshot(
                path=folder / f"{name}, {width_px} px, {scheme}.png",
                full_page=True,
                animations="disabled",
            )
            context.close()
