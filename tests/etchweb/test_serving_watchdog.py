"""The page's watchdog hears of the server's own work, in a real waitress."""

import socket
import threading
from queue import Empty, Queue

import pytest
import waitress

from etchweb.server.watchdog import feed_watchdog

PATIENCE_S = 30.0
THREADS = 2


class Page:
    """A server whose loop, and whose threads, can be held up."""

    def __init__(self, listener):
        self.said, self.may_go_on, self.is_held = Queue(), threading.Event(), threading.Semaphore(0)
        self.server = waitress.create_server(self.never, sockets=[listener], threads=THREADS)
        self.ended = threading.Event()
        self.follower = threading.Thread(
            target=feed_watchdog, args=(self.server, self.ended, self.said.put),
            kwargs={"every_s": 0.01},
        )  # fmt: skip
        self.follower.start()

    def never(self, *asked):
        raise AssertionError(asked)

    def start(self):
        self.serving = threading.Thread(target=self.server.run)
        self.serving.start()

    def end(self):
        self.may_go_on.set()
        self.ended.set()
        self.follower.join(PATIENCE_S)
        self.server.trigger.pull_trigger(self.stop)
        self.serving.join(PATIENCE_S)

    def stop(self):
        self.server.asyncore.close_all(self.server._map)

    def service(self):
        """Hold up whichever thread takes this as a task."""
        self.is_held.release()
        self.may_go_on.wait(PATIENCE_S)

    def hears_nothing_new(self):
        while not self.said.empty():
            self.said.get()
        try:
            self.said.get(timeout=0.3)  # thirty rounds' time, one of which may have been half done
            self.said.get(timeout=0.3)
        except Empty:
            return True
        return False


@pytest.fixture
def page():
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        page = Page(listener)
        yield page
        page.end()


def test_the_page_is_ready_once_its_server_runs_and_not_before(page):
    is_early = not page.hears_nothing_new()

    page.start()

    assert not is_early
    assert [page.said.get(timeout=PATIENCE_S) for _ in range(3)] == [
        "READY=1", "WATCHDOG=1", "WATCHDOG=1",
    ]  # fmt: skip


def test_a_page_whose_threads_are_all_held_up_feeds_no_watchdog(page):
    page.start()
    page.said.get(timeout=PATIENCE_S)

    for _ in range(THREADS):
        page.server.add_task(page)
        page.is_held.acquire(timeout=PATIENCE_S)

    assert page.hears_nothing_new()


def test_a_page_whose_loop_is_held_up_feeds_no_watchdog(page):
    page.start()
    page.said.get(timeout=PATIENCE_S)

    page.server.trigger.pull_trigger(page.service)
    page.is_held.acquire(timeout=PATIENCE_S)

    assert page.hears_nothing_new()
