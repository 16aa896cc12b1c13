import html
import time

import pytest

from etchweb.logbook.search import sought_in, wire_terms
from support.fakes.catalogue_answers import head_entry, surface_entry
from support.fakes.fake_daemon import ETCH


@pytest.fixture
def _in_tokyo(monkeypatch):
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.fixture
def asked(daemon):
    """What the daemon was asked for, search by search."""
    asked = []

    def answer(**params):
        asked.append(params)
        return {"runs": [], "next_before": None, "notes": []}

    daemon.answers["runs"] = answer
    return asked


def test_what_is_sought_goes_to_the_daemon_under_its_names(phone, asked):
    phone.look("/logbook?laser=practice+20+W&surface=white+paint&text=dusk")

    (terms,) = asked
    assert (terms["head"], terms["surface"], terms["text"]) == (
        "practice 20 W", "white paint", "dusk",
    )  # fmt: skip


def test_etches_are_sought_by_verdict_and_by_having_none(phone, asked):
    text = phone.look("/logbook?verdict=patchy").text
    phone.look("/logbook?verdict=unrated")

    assert [terms["verdict"] for terms in asked] == ["patchy", "unrated"]
    assert '<option value="patchy" selected>Patchy</option>' in text
    assert "Not rated yet" in text


@pytest.mark.usefixtures("_in_tokyo")
def test_a_day_is_the_boxs_own_from_its_first_second_to_its_last():
    terms = wire_terms(sought_in({"since": "2026-11-25", "until": "2026-11-25"}))

    assert terms == {"since": "2026-11-24T15:00:00", "until": "2026-11-25T14:59:59"}


@pytest.mark.parametrize("day", ["yesterday", "2026-13-01", "25.11.2026", "", "2026-11-25T10:00"])
def test_what_is_no_day_is_not_sought(day):
    assert wire_terms(sought_in({"since": day})) == {}


def test_a_search_that_found_nothing_says_so_and_keeps_its_words(phone, asked):
    text = html.unescape(phone.look('/logbook?text="><b>dusk').text)

    assert "No matches." in text
    assert 'value=""><b>dusk"' in text
    assert 'value=""><b>' not in phone.look('/logbook?text="><b>dusk').text


def test_older_etches_are_sought_with_the_same_words(phone, daemon):
    daemon.answers["runs"] = {"runs": [ETCH], "next_before": 7, "notes": []}

    text = html.unescape(phone.look("/logbook?text=dusk").text)

    assert 'href="/logbook?before=7&text=dusk"' in text


def test_the_lasers_and_surfaces_the_box_knows_can_be_chosen(phone, daemon):
    daemon.answers["heads"] = {"heads": [head_entry(name="twenty"), head_entry(name="five")]}
    daemon.answers["surfaces"] = {"surfaces": [surface_entry({"name": "satin white"})]}

    text = phone.look("/logbook?laser=gone").text

    for choice in ("twenty", "five", "satin white"):
        assert f"<option>{choice}</option>" in text
    assert "<option selected>gone</option>" in text
