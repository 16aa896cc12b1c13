"""A broker that is away, mute, strict or a stranger: told in a sentence; nobody waits for it."""

import socket
import ssl
import subprocess
import threading
from contextlib import ExitStack

import pytest

from etchweb.app import create_app
from etchweb.fleet.errors import FleetFault
from etchweb.fleet.joining import show_fleet
from etchweb.fleet.reporter import Reporter
from etchweb.fleet.settings import FleetSettings
from etchweb.fleet.watcher import Watcher
from support.fakes.fake_daemon import FakeDaemon
from support.harnesses.broker import broker_in, free_port, require, until

MOST_THREADS = 4  # hearing and telling, and one of the library's for each of two connections


class Stranger:
    """Listens at a port and answers whoever comes by `answer`, with nothing if it is empty."""

    def __init__(self, answer=b"", wrap=None):
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._answer, self._wrap, self._held = answer, wrap, []
        self.calls = 0
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def _serve(self):
        while True:
            try:
                caller, _ = self._listener.accept()
                self.calls += 1
                if self._wrap is not None:
                    caller = self._wrap(caller)
                self._held.append(caller)
                if self._answer:
                    caller.sendall(self._answer)
                    caller.close()
            except ssl.SSLError:
                continue
            except OSError:
                return

    def close(self):
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join()
        for caller in self._held:
            caller.close()


class Page:
    """A page that watches a broker and a machine that reports to it."""

    def __init__(self, folder, settings):
        self.daemon = FakeDaemon("etching")
        before = threading.active_count()
        self.reporter, self.watcher = Reporter("left", self.daemon, settings), Watcher(settings)
        self.reporter.start()
        self.watcher.__enter__()
        self.threads = lambda: threading.active_count() - before
        self._client = (app := create_app(self.daemon, folder, open_to_loopback=True)).test_client()
        show_fleet(app, self.watcher)

    def look(self, path="/fleet"):
        answer = self._client.get(path)
        assert answer.status_code == 200
        return answer.get_data(as_text=True)

    def close(self):
        self.reporter.close()
        self.watcher.__exit__(None, None, None)


@pytest.fixture
def page_at(tmp_path):
    with ExitStack() as ends:

        def page_at(port, **more):
            (tmp_path / "page").mkdir(exist_ok=True)
            settings = FleetSettings(broker="127.0.0.1", port=port, **more)
            page = Page(tmp_path / "page", settings)
            ends.callback(page.close)
            return page

        yield page_at


@pytest.fixture
def stranger():
    with ExitStack() as ends:

        def stranger(*arguments):
            made = Stranger(*arguments)
            ends.callback(made.close)
            return made

        yield stranger


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A certificate of our own making, for 127.0.0.1, and another that nobody shows."""
    require("openssl")
    folder = tmp_path_factory.mktemp("certificate")
    for name in ("shown", "other"):
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
             "-nodes", "-days", "2", "-subj", f"/CN={name}", "-addext",
             "subjectAltName=IP:127.0.0.1", "-keyout", folder / f"{name}.key", "-out",
             folder / f"{name}.pem"],
            check=True, capture_output=True,
        )  # fmt: skip
    return folder


def test_a_broker_that_is_away_is_told_and_found_by_itself_when_it_comes(page_at, tmp_path):
    with broker_in(tmp_path) as broker:
        broker.end()
        page = page_at(broker.port)
        until(lambda: "does not answer; it is tried again" in page.look())
        assert "Row 413" in page.look("/")

        broker.start()

        until(lambda: "1 box is etching" in page.look())
        assert page.reporter.trouble is None
        assert page.threads() <= MOST_THREADS
        page.close()


def test_a_broker_that_answers_nothing_keeps_nobody_waiting(page_at, stranger):
    mute = stranger()
    page = page_at(mute.port)
    until(lambda: mute.calls >= 2)

    for state in ("held", "etching") * 50:
        page.daemon.tell(state)
        page.look()

    assert "has not answered yet" in page.look()
    assert page.threads() <= MOST_THREADS
    assert page.reporter._under_way == []  # nothing is queued for it


@pytest.mark.parametrize("answer", [b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x20\x00"])
def test_what_is_no_broker_is_no_harm(page_at, stranger, answer):
    other = stranger(answer)
    page = page_at(other.port)

    until(lambda: other.calls > 2)  # both have tried, and one of them again

    assert "127.0.0.1" in page.look()
    assert page.reporter.trouble
    assert page.threads() <= MOST_THREADS


def test_a_wrong_password_is_said_to_be_wrong_and_the_right_one_lets_in(page_at, tmp_path):
    with broker_in(tmp_path, user="left") as broker:
        page = page_at(broker.port, user="left", password="guess")
        until(lambda: "refuses this name and password" in page.look())
        right = page_at(broker.port, user="left", password="secret")

        until(lambda: "1 box is etching" in right.look())

        assert page.threads() <= 2 * MOST_THREADS
        right.close()
        page.close()


def test_a_certificate_that_does_not_fit_is_refused_by_name(page_at, stranger, certificate):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate / "shown.pem", certificate / "shown.key")
    other = stranger(b"", lambda caller: context.wrap_socket(caller, server_side=True))

    page = page_at(other.port, ca_file=str(certificate / "other.pem"))

    until(lambda: "certificate that does not fit ca_file (self-signed" in page.look())
    assert page.threads() <= MOST_THREADS


def test_a_broker_without_encryption_is_told_from_one_that_is_away(page_at, tmp_path, certificate):
    with broker_in(tmp_path) as broker:
        page = page_at(broker.port, ca_file=str(certificate / "shown.pem"))

        until(lambda: "does not speak TLS" in page.look())
        page.close()


def test_over_an_encrypted_line_a_box_reports_as_over_any(page_at, tmp_path, certificate):
    with broker_in(tmp_path, certificate=certificate) as broker:
        page = page_at(broker.port, ca_file=str(certificate / "shown.pem"))

        until(lambda: "1 box is etching" in page.look())
        page.close()


@pytest.mark.parametrize("content", [None, "", "no certificate at all"])
def test_a_certificate_file_of_no_use_is_named_at_once(tmp_path, content):
    path = tmp_path / "ca.pem"
    if content is not None:
        path.write_text(content)

    with pytest.raises(FleetFault, match=r"ca\.pem cannot be used"):
        Watcher(FleetSettings(broker="127.0.0.1", port=free_port(), ca_file=str(path)))
