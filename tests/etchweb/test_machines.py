"""Several machines at one address: whose page is whose, one pairing, one choice."""

import time

import pytest
from werkzeug.test import Client

from etchweb.auth.codes import form_token, new_code, new_token, token_digest
from etchweb.auth.roles import Role
from etchweb.auth.store import Store
from etchweb.site import Site
from etchwire.calls.machine import Status
from support.fakes.fake_daemon import FakeDaemon

NAMES = ("left", "right")


@pytest.fixture
def daemons():
    return {name: FakeDaemon() for name in NAMES}


@pytest.fixture
def site(daemons, tmp_path):
    return Site.of_machines(daemons, tmp_path, host="127.0.0.1")


@pytest.fixture
def phone(site, tmp_path):
    """A browser that was paired once."""
    store, token = Store(tmp_path), new_token()
    store.add_phone(token, "a phone", Role.OPERATE, time.time())
    client = Client(site)
    client.set_cookie("etchwarden", token.token)
    client.form_token = form_token(store.secret, token_digest(token.token))
    return client


def report(site, daemons):
    for name, listener in site.listeners.items():
        listener._store(daemons[name].ask(Status()), "")


def test_each_machine_has_its_own_page_and_both_know_the_phone(phone):
    answers = [phone.get(f"/m/{name}/") for name in NAMES]

    assert [answer.status_code for answer in answers] == [200, 200]
    assert [f">{name}</a>" in answer.text for name, answer in zip(NAMES, answers, strict=True)] \
        == [True, True]  # fmt: skip


def test_a_button_reaches_the_machine_whose_page_it_is_on(phone, daemons):
    daemons["right"].tell("etching")

    answer = phone.post(
        "/m/right/hold",
        data={"form_token": phone.form_token},
        headers={"Origin": "http://localhost"},
    )

    assert answer.status_code == 303
    assert answer.headers["Location"] == "/m/right/"
    assert [name for name in NAMES if "hold" in str(daemons[name].asked)] == ["right"]


def test_the_page_of_machines_shows_all_of_them(phone, site, daemons):
    daemons["right"].tell("etching")
    report(site, daemons)

    shown = phone.get("/m/left/machines").text

    assert 'href="/m/left/">left' in shown
    assert 'href="/m/right/">right' in shown
    assert "Etching" in shown


@pytest.mark.parametrize(
    ("path", "leads_to"),
    [("/", "/m/left/machines"), ("/pair", "/m/left/pair"), ("/m/left", "/m/left/"),
     ("/m/nobody/", "/m/left/machines"), ("/m/", "/m/left/machines"), ("//", "/m/left/machines")],
)  # fmt: skip
def test_an_address_of_no_machine_leads_to_the_choice(phone, path, leads_to):
    answer = phone.get(path)

    assert answer.status_code in (302, 303)
    assert answer.headers["Location"] == leads_to


def test_a_single_machine_stands_at_the_root_and_offers_no_choice(daemons, tmp_path):
    site = Site.of_machines({"left": daemons["left"]}, tmp_path, host="127.0.0.1")

    answer = Client(site).get("/pair")

    assert answer.status_code == 200
    assert "/machines" not in answer.text


def test_a_code_typed_at_one_machine_opens_the_other(site, tmp_path):
    code, store, client = new_code(), Store(tmp_path), Client(site)
    store.add_code(code, Role.WATCH, time.time())

    client.post(
        "/m/left/pair",
        data={"code": code, "form_token": form_token(store.secret, "nobody")},
        headers={"Origin": "http://localhost"},
    )

    assert client.get("/m/right/").status_code == 200


def test_a_stranger_is_shown_the_pairing_page_everywhere(site):
    client = Client(site)

    assert {client.get(f"/m/{name}/machines").status_code for name in NAMES} == {403}


def test_streams_and_tries_are_counted_for_the_whole_board(site):
    left, right = (app.extensions["etchweb"] for app in site.apps.values())

    assert left.streams is right.streams
    assert left.tries is right.tries
