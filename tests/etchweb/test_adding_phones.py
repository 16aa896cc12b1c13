"""A phone lets another in: a square to open the page, and digits to type.

The squares are read by OpenCV's decoder of QR codes, which has no part in drawing them.
"""

import re
import time

import cv2
import numpy as np
import pytest

from etchweb.auth.roles import Role
from etchweb.auth.square import square_svg, square_text

ADDRESS = "http://192.168.1.20:8080/pair"
# Half blocks of a terminal: whether their upper and their lower half are light.
HALVES = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), " ": (0, 0)}


def read_square(modules):
    """Return what a camera reads in a square of one pixel a module."""
    picture = np.kron(modules, np.ones((8, 8))).astype(np.uint8)
    return cv2.QRCodeDetector().detectAndDecode(picture)[0]


def modules_of_svg(svg):
    """Return the modules of a drawing that is made of horizontal strokes one module high."""
    side = int(re.search(r'd="M0 0h(\d+)v', svg)[1])
    modules = np.full((side, side), 255)
    (strokes,) = re.findall('stroke="#000" d="([^"]+)"', svg)
    x, y = 0, 0.0
    for letter, numbers in re.findall(r"([Mmh])([-\d. ]+)", strokes):
        if letter == "h":
            modules[int(y), x : x + int(numbers)] = 0
            x += int(numbers)
            continue
        across, down = map(float, numbers.split())
        x, y = (int(across), down) if letter == "M" else (x + int(across), y + down)
    return modules


def test_the_console_s_square_holds_the_address():
    rows = square_text(ADDRESS).splitlines()

    modules = [[HALVES[mark][half] for mark in row] for row in rows for half in (0, 1)]

    assert read_square(modules) == ADDRESS


def test_the_page_s_square_holds_the_address():
    assert read_square(modules_of_svg(str(square_svg(ADDRESS)))) == ADDRESS


@pytest.mark.parametrize("role", Role)
def test_another_phone_is_added_from_the_page(app, phone, store, role):
    app.config["TRUSTED_HOSTS"] = ["192.168.1.20"]

    page = phone.client.post(
        "/phones/add",
        data={"form_token": phone._form_token, "role": role},
        base_url="http://192.168.1.20:8080",
        headers={"Origin": "http://192.168.1.20:8080"},
    ).text

    (code,) = re.findall(r">(\d{3} \d{3})<", page)
    assert read_square(modules_of_svg(page)) == ADDRESS
    assert "Only this machine" not in page
    assert code.replace(" ", "") not in ADDRESS
    assert store.use_code(code.replace(" ", ""), time.time()) is role


def test_an_address_of_the_machine_alone_is_said_to_be_one(phone):
    assert "Only this machine reaches" in phone.press("phones/add", form={"role": "watch"}).text


@pytest.mark.parametrize("form", [{}, {"role": "own"}])
def test_a_role_that_is_none_opens_no_code(phone, form):
    assert phone.press("phones/add", form=form).status_code == 422


def test_a_phone_that_may_only_watch_lets_nobody_in(pair_phone):
    phone = pair_phone(Role.WATCH, time.time())

    assert phone.press("phones/add", form={"role": "watch"}).status_code == 403
    assert "etchwarden pair" in phone.look("/phones").text
