"""The page's server with a paired phone, strangers, and a clock that the test moves."""

import http.client
import socket
import threading
import time
from contextlib import ExitStack, contextmanager, suppress
from urllib.parse import urlencode

from waitress import wasyncore

from etchweb.app import create_app
from etchweb.auth.codes import form_token, new_token
from etchweb.auth.roles import Role
from etchweb.server.server import LOOK_ROUND_EVERY_S, Server
from etchweb.serving import listen_at
from support.fakes.fake_daemon import FakeDaemon

PHONE, STRANGER = "127.0.0.1", "127.0.0.2"  # on Linux all of 127/8 is this machine
PATIENCE_S = 60.0
HOST = "127.0.0.1"


class Clock:
    def __init__(self):
        self.now_s = 1000.0

    def __call__(self):
        return self.now_s


class Door:
    """A served page; connections are closed when it is left."""

    def __init__(self, folder, parts):
        self.folder, self._parts = folder, parts
        self.daemon, self.clock = FakeDaemon("etching"), Clock()
        self.app = create_app(self.daemon, folder, host_names=(HOST,))
        self.shared = self.app.extensions["etchweb machines"]
        listener = listen_at(HOST, 0)
        self.port = listener.getsockname()[1]
        self._map = {}
        self.server = Server(self.app, listener, self.shared.known, clock=self.clock, map=self._map)
        self._thread = threading.Thread(target=self.server.run)
        self._thread.start()
        parts.callback(self._end)
        self.token = new_token()
        self.shared.store.add_phone(self.token, "a phone", Role.OPERATE, time.time())

    def _end(self):
        self.server.task_dispatcher.shutdown()
        self.server.trigger.pull_trigger(lambda: wasyncore.close_all(self._map))
        self._thread.join(PATIENCE_S)

    def knock(self, address=STRANGER):
        """Connect from `address`, and say nothing."""
        client = socket.create_connection(
            (HOST, self.port), PATIENCE_S, source_address=(address, 0)
        )
        self._parts.callback(client.close)
        return client

    def let_pass(self, seconds):
        """Move the clock once every answer is wholly given, and have the server look round."""
        threads = self.server.task_dispatcher  # a phone may hear before a thread is done
        until(lambda: not threads.active_count and not len(threads.queue))
        before_s = max(seconds - LOOK_ROUND_EVERY_S, 0.0)
        # One round on its way, one that finds what is late at the end, one that closes it.
        for step_s in (before_s, seconds - before_s, 0.0):
            self.clock.now_s += step_s
            looked = threading.Event()
            self.server.trigger.pull_trigger(looked.set)
            assert looked.wait(PATIENCE_S)

    @contextmanager
    def busy(self, seconds):
        """Keep the server's loop from its work for so long by the clock."""
        is_free = threading.Event()
        self.server.trigger.pull_trigger(lambda: is_free.wait(PATIENCE_S))
        yield
        self.clock.now_s += seconds
        is_free.set()

    def kept(self, connections):
        """Return how many silent connections have a place once those that lost theirs are closed.

        Whoever is let in takes a place at once; the connection that gave way is closed a round of
        the server later.
        """
        self.let_pass(0)
        return sum(map(is_open, connections))

    def head(self, method, path, *lines, cookie=True):
        """Return a request's head as bytes."""
        mine = [f"Cookie: etchwarden={self.token.token}"] if cookie else []
        return "\r\n".join(
            [f"{method} {path} HTTP/1.1", f"Host: {HOST}:{self.port}",
             f"Origin: http://{HOST}:{self.port}", *mine, *lines, "", ""]
        ).encode()  # fmt: skip

    def stop(self, address=PHONE):
        """Press *stop* on the paired phone; return the status of the answer."""
        form = urlencode({"form_token": self.form_token})
        kind = "Content-Type: application/x-www-form-urlencoded"
        client = self.knock(address)
        client.sendall(
            self.head("POST", "/stop", kind, f"Content-Length: {len(form)}") + form.encode()
        )
        return answer_on(client)[0]

    def watch(self, address=PHONE):
        """Open the page on the paired phone."""
        client = self.knock(address)
        client.sendall(self.head("GET", "/watch.json"))
        return answer_on(client)[0]

    @property
    def form_token(self):
        return form_token(self.shared.store.secret, self.token.digest)

    @property
    def was_stopped(self):
        return "stop" in self.daemon.asked

    def multipart(self, data):
        """Return a form with a photo, and the lines of the head that say so."""
        part = "--x\r\nContent-Disposition: form-data; name="
        before = f'{part}"form_token"\r\n\r\n{self.form_token}\r\n{part}"photo"; filename="a.jpg"'
        form = before.encode() + b"\r\n\r\n" + data + b"\r\n--x--\r\n"
        return form, "Content-Type: multipart/form-data; boundary=x"


def until(holds):
    """Wait until `holds` returns something true."""
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline_s
        time.sleep(0.01)


def answer_on(client):
    """Return status and text of the answer."""
    answer = http.client.HTTPResponse(client)
    answer.begin()
    return answer.status, answer.read().decode()


def is_closed(client):
    """Wait for the server's end of a connection, whatever came before it."""
    with suppress(ConnectionResetError):
        while client.recv(65536):
            pass
    return True


def is_open(client):
    """Return whether a connection that owes nothing is still there."""
    client.setblocking(False)
    try:
        return client.recv(1, socket.MSG_PEEK) != b""
    except BlockingIOError:
        return True
    except ConnectionResetError:
        return False
    finally:
        client.settimeout(PATIENCE_S)


@contextmanager
def door_at(folder):
    """Serve a page in `folder`."""
    with ExitStack() as parts:
        yield Door(folder, parts)
