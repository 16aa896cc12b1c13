"""*Storage*: how long the page keeps what it stores, set by the shop and obeyed by the clearing."""

import math
import os
import re
import time

import pytest

from etchweb.app import create_app
from etchweb.auth.roles import Role
from etchweb.storage.kept_for import CHOICES, KEPT_KINDS, KEPT_NAME, allowances
from etchweb.storage.retention import clear_out
from etchweb.text.formatting import grouped
from etchwire.retention import DAY_S, EARLIEST_S, MADE_FROM

YEAR_S = 365 * DAY_S
LOADED_S = EARLIEST_S + 100 * DAY_S
DEFAULTS = {
    "made_from": "for 2 years",  # what the issue of a delivered tile asks for
    "ordered_drafts": "for 2 years",
    "pictures": "for 2 years",
    "tile_photos": "for 5 years",
    "test_tiles": "for 2 years",
}


@pytest.fixture
def tiles(tmp_path):
    """The folder of what eighty tiles were made from: more than stay whatever their age."""
    home = tmp_path / "made-from"
    for number in range(MADE_FROM.spared + 30):
        kept = home / f"{number:064x}"
        kept.mkdir(parents=True)
        os.utime(kept, (LOADED_S + number, LOADED_S + number))
    return home


def chosen(page):
    """Return what each picker of the page has chosen."""
    pickers = re.findall(r'<select name="(\w+)">(.*?)</select>', page, re.DOTALL)
    return {name: re.search(r"<option selected>([^<]+)<", options)[1] for name, options in pickers}


def test_the_retention_table_says_how_long_each_kind_is_kept_and_at_most_how_much(phone):
    page = phone.look("/storage")

    assert page.status_code == 200
    assert chosen(page.text) == DEFAULTS
    assert f"at most {grouped(MADE_FROM.total_mb)} MB" in page.text
    for kind in KEPT_KINDS:
        assert kind.says in page.text
    assert "Records" in page.text  # the logbook, for ever


@pytest.mark.parametrize(
    ("word", "age_years", "left"),
    [
        ("for 1 year", 1.1, MADE_FROM.spared),
        ("for 2 years", 1.1, MADE_FROM.spared + 30),
        ("for 2 years", 2.1, MADE_FROM.spared),
        ("for 5 years", 4.9, MADE_FROM.spared + 30),
        ("for ever", 40, MADE_FROM.spared + 30),
    ],
)
def test_what_a_tile_was_made_from_is_kept_as_long_as_the_shop_says(
    phone, tiles, word, age_years, left
):
    form = {**DEFAULTS, "made_from": word}
    assert phone.press("storage", form=form).location == "/storage"

    clear_out(tiles.parent, now_s=LOADED_S + age_years * YEAR_S)

    assert len(list(tiles.iterdir())) == left


def test_what_was_chosen_holds_for_the_clearing_of_each_kind_and_after_a_restart(
    phone, daemon, tmp_path
):
    words = dict(zip(DEFAULTS, ("for 1 year", "for 5 years", "for ever"), strict=False))
    phone.press("storage", form={**DEFAULTS, **words})

    again = create_app(daemon, tmp_path, open_to_loopback=True).test_client()

    assert chosen(again.get("/storage").text) == {**DEFAULTS, **words}
    days = {name: allowed.days for name, allowed in allowances(tmp_path).items()}
    assert days == {
        "made_from": 365, "ordered_drafts": 1825, "pictures": math.inf, "tile_photos": 1825,
        "test_tiles": 730,
    }  # fmt: skip


@pytest.mark.parametrize(
    "typed", [{"made_from": "for 3 years"}, {"made_from": ""}, {"tile_photos": None}]
)
def test_what_is_no_choice_of_the_table_is_refused_and_nothing_is_changed(phone, tmp_path, typed):
    form = {name: word for name, word in {**DEFAULTS, **typed}.items() if word is not None}

    answer = phone.press("storage", form=form)

    assert answer.status_code == 422
    assert not (tmp_path / KEPT_NAME).exists()
    assert chosen(phone.look("/storage").text) == DEFAULTS


@pytest.mark.parametrize("text", ["", "[]", "{", '{"made_from": 7, "pictures": "for ever"}'])
def test_a_damaged_file_means_the_default_of_what_it_does_not_say(phone, tmp_path, text):
    (tmp_path / KEPT_NAME).write_text(text)

    said = chosen(phone.look("/storage").text)

    assert said == {**DEFAULTS, **({"pictures": "for ever"} if "pictures" in text else {})}
    assert allowances(tmp_path)["made_from"] == MADE_FROM


def test_a_phone_that_watches_sees_the_table_and_changes_nothing(pair_phone):
    watcher = pair_phone(Role.WATCH, time.time())

    page = watcher.look("/storage").text

    assert all(word in page for word in set(DEFAULTS.values()))
    assert "<select" not in page
    assert watcher.press("storage", form=DEFAULTS).status_code == 403


def test_every_default_is_one_of_the_choices():
    assert {kind.allowance.days for kind in KEPT_KINDS} <= {
        years * 365 for years in CHOICES.values()
    }
