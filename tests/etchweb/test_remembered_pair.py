"""*Recipes*: which laser and which tile and paint are asked by two pickers, and remembered."""

import re

import pytest

from support.fakes.catalogue_answers import HEAD, OTHER, SURFACE, craft

CHOSEN = re.compile(r"<option selected>([^<]+)</option>")


@pytest.fixture
def page(phone, daemon):
    """Return a function that looks at the recipes and tells which pair is shown."""
    daemon.answers |= craft()

    def page(query=""):
        answer = phone.look(f"/test-tiles{query}")
        assert answer.status_code == 200
        return CHOSEN.findall(answer.text)

    return page


ASKED = f"?laser={HEAD.name}&surface={OTHER.name}"


def test_laser_and_surface_are_two_pickers(page):
    assert page() == [HEAD.name, SURFACE.name]  # the pair with a recipe comes first
    assert page(ASKED) == [HEAD.name, OTHER.name]


def test_the_pair_asked_for_last_is_shown_again(page):
    page(ASKED)

    assert page() == [HEAD.name, OTHER.name]


def test_what_is_no_pair_any_more_is_forgotten(page, daemon):
    page(ASKED)
    daemon.answers["surfaces"]["surfaces"].pop()

    assert page() == [HEAD.name, SURFACE.name]


@pytest.mark.parametrize("nonsense", ["?laser=none&surface=none", "?pair=[", "?laser="])
def test_what_is_no_pair_is_not_remembered(page, nonsense):
    page(ASKED)

    assert page(nonsense) == [HEAD.name, OTHER.name]


def test_a_phone_keeps_it_where_no_script_sees_it(phone, daemon):
    daemon.answers |= craft()

    cookie = phone.look(f"/test-tiles{ASKED}").headers["Set-Cookie"]

    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert "Set-Cookie" not in phone.look("/test-tiles").headers
