"""Wherever a photo is chosen the page shows the same, takes the same and says the same."""

import io
import re

import pytest

from darkroom.cards import power_card
from etchweb.server.picker import NO_PHOTO, TAKES
from etchweb.text.formatting import as_sentence
from support.fakes.card_book import CardBook

CARD = power_card()
FORMS = {"/new": "new", "/logbook/7": "logbook/7/verdict", f"/test-tiles/{CARD.number}": ""}


@pytest.fixture
def filed(daemon):
    """Have a test card in the logbook."""
    book = CardBook(daemon)
    book.file(CARD)
    book.burn(CARD.number)


def picker_in(page):
    """Return the part of a page where photos are chosen, without its words for what is chosen."""
    (part,) = re.findall(r'<div class="picker".*?</div>', page, re.DOTALL)
    return re.sub(r"<strong>.*?</strong>|<span class=\"of\">.*?</span>|\w+ing$", "", part)


@pytest.mark.parametrize("path", FORMS)
def test_every_form_that_takes_photos_has_the_same_picker(phone, filed, path):
    page = phone.look(path).text
    picker = picker_in(page)

    assert page.count('type="file"') == 2  # the second one waits for a script
    assert 'enctype="multipart/form-data"' in page
    assert re.search(r"<form [^>]*data-sends-photos", page)
    assert "server/picker.js" in page
    assert picker.count(f'accept="{TAKES}"') == 1
    assert picker.count('capture="environment"') == 1
    for attribute in ("most-bytes", "no-photo", "too-large", "not-arrived", "checking"):
        assert re.search(rf' data-{attribute}="[^"]+"', picker)
    for place in ("data-chosen", "data-refused", "data-progress", "data-camera"):
        assert place in picker


@pytest.mark.parametrize("path", ["new", f"test-tiles/{CARD.number}/photos"])
def test_without_a_photo_the_box_says_what_the_script_says(phone, filed, path):
    nothing = {"photo": (io.BytesIO(b""), ""), "wiped": "yes"}

    page = phone.press(path, form=nothing)
    heard = phone.press(path, form={"photo": (io.BytesIO(b""), "")}, Accept="application/json")

    assert (page.status_code, heard.status_code) == (422, 422)
    assert f'role="alert">{NO_PHOTO}<' in page.text
    assert heard.json["sentence"] == NO_PHOTO


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("ida.jpg is empty", "ida.jpg is empty."),
        ("the box is busy", "The box is busy."),
        ("my ida.jpg is empty", "My ida.jpg is empty."),
        ("", ""),
    ],
)
def test_a_sentence_that_begins_with_a_files_name_keeps_it(text, said):
    assert as_sentence(text, keeps=["ida.jpg"]) == said
