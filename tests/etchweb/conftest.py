import pytest
from flask.testing import FlaskClient

from etchweb.app import create_app
from etchweb.auth.codes import form_token, new_token, token_digest
from etchweb.auth.store import Store
from etchweb.drafts import views as drafting
from etchweb.drafts.store import Drafts
from etchweb.workers.work import WorkQueue
from support.fakes.catalogue_answers import craft
from support.fakes.fake_daemon import FakeDaemon
from support.harnesses.kept_routes import keep_routes
from support.harnesses.kept_templates import TEMPLATES
from support.harnesses.kept_work import do_once
from support.harnesses.work_here import queue_here

keep_routes()
ORIGIN = "http://localhost"
ELSEWHERE = {"REMOTE_ADDR": "192.168.0.7"}
PATIENCE_S = 600.0  # only what hangs takes so long, whatever else the computer does


class Phone:
    """A browser on a phone: opens pages of ours, and presses what it finds there."""

    def __init__(self, client: FlaskClient, secret: bytes, holder: str) -> None:
        self.client = client
        self._form_token = form_token(secret, holder)

    def look(self, path="/", **headers):
        return self.client.get(path, headers=headers)

    def press(self, action, origin=ORIGIN, form=None, **headers):
        if origin is not None:
            headers["Origin"] = origin
        form = {"form_token": self._form_token} | (form or {})
        return self.client.post(f"/{action}", data=form, headers=headers)


@pytest.fixture
def daemon():
    return FakeDaemon()


@pytest.fixture
def known_lasers(daemon):
    """Have the logbook know lasers, tiles and paints, and recipes."""
    daemon.answers |= craft()


@pytest.fixture
def waiting_for_work(app, monkeypatch):
    """Wait for the work on pictures, done here, so that each step shows what it came to.

    The same work on the same files is done for the first test that needs it.
    """
    app.extensions["etchweb works"] = queue_here(do_once)
    monkeypatch.setattr(drafting, "WAIT_S", PATIENCE_S)
    monkeypatch.setattr(drafting, "LOOK_AT_PHOTO_S", PATIENCE_S)


@pytest.fixture
def real_children(app, waiting_for_work):
    """Have the work on pictures done as on a box, by child processes."""
    app.extensions["etchweb works"] = WorkQueue()


@pytest.fixture
def drafts(tmp_path):
    return Drafts(tmp_path / "drafts")


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path)


@pytest.fixture
def app(daemon, tmp_path):
    app = create_app(daemon, tmp_path, open_to_loopback=True)
    app.jinja_env.bytecode_cache = TEMPLATES
    return app


@pytest.fixture
def phone(app, store):
    """The browser on the box itself, during practice."""
    return Phone(app.test_client(), store.secret, "loopback")


@pytest.fixture
def stranger(app, store):
    """A phone from somewhere on the network, not paired."""
    client = app.test_client()
    client.environ_base |= ELSEWHERE
    return Phone(client, store.secret, "nobody")


@pytest.fixture
def pair_phone(app, store):
    """Return a function that pairs a phone for a role, as of a moment in seconds since 1970."""

    def pair_phone(role, now_s):
        token = new_token()
        store.add_phone(token, f"a phone to {role}", role, now_s)
        client = app.test_client()
        client.environ_base |= ELSEWHERE
        client.set_cookie("etchwarden", token.token)
        return Phone(client, store.secret, token_digest(token.token))

    return pair_phone
