"""What the page's scripts read by name is what the page sends, and what the wire has calls for."""

import re
from pathlib import Path

import pytest

import etchweb
from etchweb.machine.presenter import away_view as machine_away_view
from etchweb.run import presenter
from etchwire.calls.machine import MACHINE_CALLS

WEB = Path(etchweb.__file__).parent
WATCH_KEYS = set(presenter.away_view(""))  # every state has the same, as test_watch_view holds
CALLS = {call.method() for call in MACHINE_CALLS}


def script(name):
    return (WEB / "static" / name).read_text("utf-8")


def keys_read(text, *names):
    of = "|".join(names)
    found = re.findall(rf'\b(?:{of})\.(\w+)|"(\w+)" in (?:{of})\b', text)
    return {key for pair in found for key in pair if key}


def templates(folder):
    return "\n".join(path.read_text("utf-8") for path in (WEB / "templates" / folder).iterdir())


@pytest.mark.parametrize("name", ["run/watch.js", "previews/tile.js"])
def test_what_the_page_watch_reads_of_a_view_is_in_every_view(name):
    read = keys_read(script(name), "view", "news")

    assert read
    assert read <= WATCH_KEYS


def test_what_draws_the_page_watch_anew_is_in_every_view_and_on_the_page():
    (names,) = re.findall(r"const sceneOf = \(\{ (.*?) \}\)", script("run/watch.js"))
    (drawn,) = re.findall(r'<div id="watch"[^\n]*>', templates("run"))

    assert set(names.split(", ")) <= WATCH_KEYS
    assert all(f'data-{name}="' in drawn for name in names.split(", "))


def test_the_page_watch_keeps_back_the_same_calls_as_its_script():
    (names,) = re.findall(r"ALWAYS_ASKABLE = \[(.*?)\]", script("run/watch.js"))

    assert tuple(re.findall(r'"(\w+)"', names)) == presenter.ALWAYS_ASKABLE


def test_what_the_page_machine_reads_is_in_its_answer():
    read = keys_read(script("machine/machine.js"), "now")

    assert read
    assert read <= set(machine_away_view(""))


@pytest.mark.parametrize("folder", ["run", "machine"])
def test_every_place_of_a_figure_names_one_that_is_sent(folder):
    keys = WATCH_KEYS if folder == "run" else set(machine_away_view(""))
    places = set(re.findall(r'data-live="(\w+)"', templates(folder)))

    assert places
    assert places <= keys


@pytest.mark.parametrize("folder", ["run", "machine"])
def test_every_button_names_a_call_of_the_wire(folder):
    named = set(re.findall(r'data-may="(\w+)"', templates(folder)))

    assert named
    assert named <= CALLS


def test_what_the_page_offers_are_calls_of_the_wire():
    assert {*presenter.ACTIONS, *presenter.ALWAYS_ASKABLE} <= CALLS
