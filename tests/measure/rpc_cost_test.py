"""What a call costs: `pytest -m measure tests/measure/rpc_cost_test.py -s` prints it."""

import itertools
import threading
import time

import pytest

from etchdaemon.rpc.dispatcher import Dispatcher
from etchwire.errors import DaemonAbsent
from measure.costs import heading, resident_mb, tell, timed_ms
from support.fakes.fake_daemon import snapshot_table
from support.harnesses.plain_client import PlainClient

pytestmark = pytest.mark.measure

ROW = [1000, 10, False, 3999.9, 3000.1, 4000.0, 0.5999, 0.5, 0.6, 1234.567]
PAGE = {"columns": ["row"], "rows": [ROW] * 500, "next_row": None}


class Loop:
    """A loop that answers at once."""

    def snapshot(self):
        return snapshot_table("etching")

    def request(self, _, **__):
        return {}

    def call_on_change(self, listener):
        self.tell = listener


class Logbook:
    def ask(self, _, **__):
        return PAGE


@pytest.fixture
def loop():
    return Loop()


@pytest.fixture
def path(tmp_path, loop):
    with Dispatcher(tmp_path / "s", loop, Logbook()):
        yield tmp_path / "s"


def one_call(path):
    with PlainClient(path) as client:
        client.call("status")


def ask_without_end(path, is_over, method, every_s, **params):
    with PlainClient(path) as client:
        while not is_over.wait(every_s):
            client.call(method, **params)


def watch(path):
    with PlainClient(path) as client:
        try:
            for _ in client.subscribe():
                pass
        except DaemonAbsent:
            pass


def test_what_a_call_lasts(path):
    heading("one client, nobody else")
    with PlainClient(path) as client:
        tell("status", timed_ms(lambda _: client.call("status"), 2000))
        tell("stop", timed_ms(lambda _: client.call("stop"), 2000))
        tell("run_rows, 500", timed_ms(lambda _: client.call("run_rows", id=1), 200))
    tell("connect, hello, status, close", timed_ms(lambda _: one_call(path), 500))


def test_what_a_stop_lasts_while_others_ask(path):
    is_over = threading.Event()
    others = [
        threading.Thread(target=ask_without_end, args=(path, is_over, method, 0.01), kwargs=params)
        for method, params in (("run_rows", {"id": 1}), ("status", {}), ("status", {}))
    ]
    for other in others:
        other.start()
    heading("three others ask a hundred times a second each")
    with PlainClient(path) as client:
        tell("stop", timed_ms(lambda _: client.call("stop"), 1000))
    is_over.set()
    for other in others:
        other.join()


@pytest.mark.parametrize("load", ["nothing", "3 watchers at 10 Hz of changes, 30 calls a second"])
def test_how_late_a_loop_of_4_ms_wakes_beside_the_socket(path, loop, load):
    is_over, nobody_rings, late_ms = threading.Event(), threading.Event(), []
    if load != "nothing":
        for _ in range(3):
            threading.Thread(target=watch, args=(path,), daemon=True).start()
        threading.Thread(
            target=ask_without_end, args=(path, is_over, "status", 1 / 30), daemon=True
        ).start()
    for number in range(5000):
        due_s = time.perf_counter() + 0.004
        nobody_rings.wait(0.004)
        late_ms.append((time.perf_counter() - due_s) * 1000)
        if number % 25 == 0:
            loop.tell()
    is_over.set()
    heading("how late a loop of 4 ms wakes beside (clients in the same process)")
    tell(load, sorted(late_ms))


def test_what_clients_cost_in_memory(path):
    before_mb = resident_mb()
    clients = [PlainClient(path) for _ in range(20)]
    for client, _ in itertools.product(clients, range(50)):
        client.call("status")
    print(f"\n20 clients, both ends: {resident_mb() - before_mb:.1f} MB")
    for client in clients:
        client.close()
