import pytest
from flask.testing import FlaskClient

from etchweb.app import create_app
from fake_daemon import FakeDaemon

ORIGIN = "http://localhost"


class Phone:
    """A browser on a phone: opens pages of ours, and presses what it finds there."""

    def __init__(self, client: FlaskClient) -> None:
        self.client = client

    def look(self, path="/", **headers):
        return self.client.get(path, headers=headers)

    def press(self, action, origin=ORIGIN, form=None, **headers):
        if origin is not None:
            headers["Origin"] = origin
        return self.client.post(f"/{action}", data=form or {}, headers=headers)


@pytest.fixture
def daemon():
    return FakeDaemon()


@pytest.fixture
def app(daemon, tmp_path):
    return create_app(daemon, tmp_path / "pictures")


@pytest.fixture
def phone(app):
    return Phone(app.test_client())
