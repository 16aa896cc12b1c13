"""A phone lets another in: a square to open the page, and digits to type.

The squares are read by OpenCV's decoder of QR codes, which has no part in drawing them.
"""

import re
import time

import cv2
import numpy as np
import pytest

from etchweb.auth.codes import new_token
from etchweb.auth.roles import Role
from etchweb.auth.square import square_svg, square_text
from etchweb.auth.store import FILE_NAME, MIGRATIONS, Store
from etchweb.server.page_database import PageDatabase

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
    assert store.use_code(code.replace(" ", ""), time.time()).role is role


def test_an_address_of_the_machine_alone_is_said_to_be_one(phone):
    assert "Only this machine reaches" in phone.press("phones/add", form={"role": "watch"}).text


@pytest.mark.parametrize("form", [{}, {"role": "own"}])
def test_a_role_that_is_none_opens_no_code(phone, form):
    assert phone.press("phones/add", form=form).status_code == 422


def test_a_phone_that_may_only_watch_lets_nobody_in(pair_phone):
    phone = pair_phone(Role.WATCH, time.time())

    assert phone.press("phones/add", form={"role": "watch"}).status_code == 403
    assert "etchwarden pair" in phone.look("/phones").text


def let_in_by(phone, stranger, store, name="Ben’s"):
    """Have `phone` open a code and another one type it; return the other's number."""
    page = phone.press("phones/add", form={"role": "operate"}).text
    (code,) = re.findall(r">(\d{3} \d{3})<", page)
    assert stranger.press("pair", form={"code": code, "name": name}).status_code == 303
    return store.phones()[0].id


def test_what_another_phone_may_do_is_a_choice_and_the_lesser_one_is_made_beforehand(phone):
    checked = re.findall(r'name="role" value="(\w+)" checked', phone.look("/phones").text)

    assert checked == ["watch"]


def test_the_list_says_who_let_a_phone_in(pair_phone, stranger, store):
    ann = pair_phone(Role.OPERATE, time.time())
    let_in_by(ann, stranger, store)

    page = ann.look("/phones").text

    assert "let in by a phone to operate" in page
    assert page.count("let in by a code from the box") == 1


def test_a_lost_phone_s_open_code_is_closed_with_it(pair_phone, phone, stranger, store):
    lost = pair_phone(Role.OPERATE, time.time())
    page = lost.press("phones/add", form={"role": "operate"}).text
    (code,) = re.findall(r">(\d{3} \d{3})<", page)
    others = phone.press("phones/add", form={"role": "watch"}).text
    (others_code,) = re.findall(r">(\d{3} \d{3})<", others)

    phone.press(f"phones/{store.phones()[0].id}/forget", form={"sure": "yes"})

    assert stranger.press("pair", form={"code": code}).status_code == 422
    assert stranger.press("pair", form={"code": others_code}).status_code == 303


@pytest.mark.parametrize(("form", "left"), [({}, ["Cleo’s", "Ben’s"]), ({"and": "let in"}, [])])
def test_with_a_lost_phone_those_that_it_let_in_can_be_removed(
    pair_phone, stranger, phone, store, form, left
):
    lost = pair_phone(Role.OPERATE, time.time())
    number = store.phones()[0].id
    ben = let_in_by(lost, stranger, store)
    store.add_phone(new_token(), "Cleo’s", Role.WATCH, time.time(), by=ben)

    asked = phone.press(f"phones/{number}/forget").text
    phone.press(f"phones/{number}/forget", form={"sure": "yes", **form})

    assert "Remove Cleo’s, Ben’s too" in asked
    assert [one.name for one in store.phones()] == left


def test_nobody_else_is_named_where_a_phone_let_nobody_in(pair_phone, phone, store):
    pair_phone(Role.OPERATE, time.time())

    asked = phone.press(f"phones/{store.phones()[0].id}/forget").text

    assert "too" not in re.search(r'role="alert">Remove.*?</form>', asked, re.DOTALL)[0]


def test_a_store_of_an_earlier_release_tells_of_its_phones_that_a_code_let_them_in(tmp_path):
    database = PageDatabase(tmp_path / FILE_NAME, MIGRATIONS[:1])
    with database.transaction() as book:
        database.migrate(book)
        book.execute("INSERT INTO phone VALUES (4, 'x', 'Ann’s', 'operate', 2e9, 2e9)")

    (phone,) = Store(tmp_path).phones()

    assert (phone.id, phone.name, phone.by) == (4, "Ann’s", None)
