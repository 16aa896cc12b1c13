"""The practice panel: there only with a practice machine, and every deed of it reaches that."""

import re

import pytest

from etchpractice.machine import PracticeMachine
from etchweb.app import create_app
from etchweb.auth.codes import form_token
from etchweb.auth.store import Store
from etchweb.practice.panel import PANEL_ACTIONS
from etchwire.calls.machine import Status
from etchwire.errors import DaemonAbsent
from support.fakes.fake_daemon import MACHINE, FakeDaemon


@pytest.fixture
def done():
    """What the practice machine was asked to do."""
    return []


@pytest.fixture
def panel(tmp_path, done):
    """Press a button of the panel, as a browser on the box itself does."""

    def machine(verb, **says):
        done.append((verb, says))
        if verb == "unplug":
            raise DaemonAbsent("the practice machine is gone")

    app = create_app(FakeDaemon(), tmp_path, open_to_loopback=True, machine=machine)
    token = form_token(Store(tmp_path).secret, "loopback")

    def press(name):
        return app.test_client().post(
            f"/practice/{name}",
            data={"form_token": token},
            headers={"Origin": "http://localhost"},
        )

    press.look = lambda path: app.test_client().get(path)
    return press


def test_without_a_practice_machine_there_is_no_panel(phone):
    assert phone.look("/practice").status_code == 404
    assert "/practice" not in phone.look().text


def test_every_deed_stands_on_the_panel(panel):
    text = panel.look("/practice").text

    assert set(re.findall(r'action="/practice/([a-z-]+)"', text)) == set(PANEL_ACTIONS)
    assert 'href="/practice"' in panel.look("/").text


def test_the_wiped_tile_can_be_photographed(tmp_path):
    def machine(verb, **says):
        assert verb == "picture"
        with open(says["after"], "wb") as file:
            file.write(b"a picture")

    app = create_app(FakeDaemon(), tmp_path, open_to_loopback=True, machine=machine)

    with app.test_client().get("/practice/tile.png") as photo:
        assert photo.data == b"a picture"
        assert photo.mimetype == "image/png"


@pytest.mark.parametrize("name", sorted(set(PANEL_ACTIONS) - {"unplug"}))
def test_a_deed_is_done(panel, done, name):
    answer = panel(name)

    assert answer.status_code == 303
    assert done == [(PANEL_ACTIONS[name].verb, PANEL_ACTIONS[name].says)]


def test_each_button_shows_what_it_did(panel):
    answer = panel("open-lid")

    assert answer.location == "/practice?did=open-lid"
    assert "The lid is open." in panel.look(answer.location).text
    assert "The lid is open." not in panel.look("/practice?did=nothing").text


@pytest.mark.parametrize("deed", PANEL_ACTIONS.values(), ids=PANEL_ACTIONS)
def test_the_practice_machine_knows_every_verb(deed):
    machine = PracticeMachine()

    assert any(hasattr(owner, deed.verb) for owner in (machine, machine.faults, machine.board))


def test_a_practice_machine_that_is_gone_is_told(panel):
    answer = panel("unplug")

    assert answer.status_code == 503
    assert "machine is gone" in answer.text


def test_what_is_not_on_the_panel_cannot_be_done(panel, done):
    assert panel("shutdown").status_code == 404
    assert done == []


@pytest.mark.parametrize(("is_practice", "is_offered"), [(True, True), (False, False)])
def test_the_panel_is_offered_only_where_the_daemon_has_the_practice_machine(
    daemon, tmp_path, is_practice, is_offered
):
    app = create_app(daemon, tmp_path, open_to_loopback=True, machine=lambda *_, **__: None)
    daemon.tell("idle", machine={**MACHINE, "is_practice": is_practice})
    ear = app.extensions["etchweb"].listener
    ear._store(daemon.ask(Status()), "")

    text = app.test_client().get("/").text

    assert (">Practice</a>" in text) is is_offered
