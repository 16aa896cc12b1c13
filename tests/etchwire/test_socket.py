"""Both ends of the socket, joined: real sockets and threads, and nobody waits for a clock."""

import contextlib
import os
import socket
import threading
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from etchwire.errors import (
    DaemonAbsent,
    Refused,
    SocketUnavailable,
    UnfitParameters,
    UnknownMethod,
)
from etchwire.transport.client_session import UNANSWERED_LIMIT
from etchwire.transport.framing import LINE_LIMIT_BYTES, LineBuffer, decode, encode
from etchwire.transport.messages import Code, Request
from etchwire.transport.server import CLIENTS_LIMIT, Handlers, LineServer
from support.fakes.memory_storage import memory_card
from support.harnesses.plain_client import PlainClient

LONG_S = 20.0  # nothing here takes long: only a fault does


class Machine:
    """Something to ask: its answers can be held back."""

    def __init__(self):
        self.callers = []
        self.done = []
        self.is_busy = threading.Event()
        self.may_go_on = threading.Event()

    def answer(self, asked):
        request = asked.request
        self.done.append(request.method)
        return getattr(self, request.method)(asked, **request.params)

    def echo(self, _, **params):
        return params

    def slow(self, _):
        self.is_busy.set()
        assert self.may_go_on.wait(LONG_S)
        return "slow"

    def stop(self, _):
        return "stopped"

    def subscribe(self, asked):
        self.callers.append(asked.caller)
        return {"sequence": 0}

    def load(self, asked):
        files = asked.take_files(2)
        texts = [os.pread(file, 100, 0).decode() for file in files]
        for file in files:
            os.close(file)
        return texts

    def inheritable(self, asked):
        return [os.get_inheritable(file) for file in asked.files]

    def refuse(self, _, kind):
        raise Refused(kind, "Not now.")

    def unknown(self, _):
        raise UnknownMethod("refused", "there is no such method")

    def unfit(self, _):
        raise UnfitParameters("refused", "that is no number")

    def fail(self, _):
        return 1 / 0

    def large(self, _):
        return "x" * LINE_LIMIT_BYTES

    def fill(self, asked):
        self.callers.append(asked.caller)
        self.is_busy.set()
        return "x" * (LINE_LIMIT_BYTES // 2)


@pytest.fixture
def machine():
    machine = Machine()
    yield machine
    machine.may_go_on.set()


def serving(path, machine, **more):
    more = {"at_once": ("stop",), "greeting": {"program": "test"}} | more
    return LineServer(path, Handlers(answer=machine.answer, **more))


@pytest.fixture
def path(tmp_path, machine):
    with serving(tmp_path / "s", machine):
        yield tmp_path / "s"


@pytest.fixture
def client(path):
    with PlainClient(path, timeout_s=LONG_S) as client:
        yield client


class Wire:
    """A client that writes what it likes."""

    def __init__(self, path, hello=True):
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.settimeout(LONG_S)
        self.socket.connect(str(path))
        self._buffer = LineBuffer()
        if hello:
            self.send(Request("hello", {"protocol": 1}, 0))
            self.hear()

    def send(self, *requests):
        self.socket.sendall(b"".join(encode(request.to_table()) for request in requests))

    def hear(self):
        """Return the next message, or None when the connection has ended."""
        while (line := next(self._buffer.lines(), None)) is None:
            try:
                data = self.socket.recv(65536)
            except ConnectionResetError:  # it ended with bytes of ours unread
                return None
            if not data:
                return None
            self._buffer.feed_bytes(data)
        return decode(line)

    def __enter__(self):
        return self

    def __exit__(self, *args):
        self.socket.close()


def greeted_wire(path):
    """Return a client whose hello came in time, which on a busy computer not every one does."""
    wire = Wire(path, hello=False)
    with contextlib.suppress(BrokenPipeError):
        wire.send(Request("hello", {"protocol": 1}, 0))
        if wire.hear() is not None:
            return wire
    wire.socket.close()
    return greeted_wire(path)


def count_files():
    return len(list(Path("/proc/self/fd").iterdir()))


def test_a_call_is_answered(client):
    assert client.call("echo", a=1, text="kühl") == {"a": 1, "text": "kühl"}
    assert client.greeting == {"protocol": 1, "program": "test"}


@pytest.mark.parametrize("kind", ["refused", "job", "busy", "internal"])
def test_a_refusal_arrives_with_its_kind_and_sentence(client, kind):
    with pytest.raises(Refused) as refusal:
        client.call("refuse", kind=kind)

    assert (refusal.value.kind, str(refusal.value)) == (kind, "Not now.")


@pytest.mark.parametrize("method", ["fail", "large"])
def test_a_fault_in_one_answer_is_told_and_the_next_call_works(client, method):
    with pytest.raises(Refused) as refusal:
        client.call(method)

    assert refusal.value.kind == "internal"
    assert client.call("echo") == {}


@pytest.mark.parametrize(
    ("method", "code"),
    [
        ("unknown", Code.METHOD_NOT_FOUND),
        ("unfit", Code.INVALID_PARAMS),
        ("fail", Code.INTERNAL_ERROR),
    ],
)
def test_the_specification_s_codes_are_used(path, method, code):
    with Wire(path) as wire:
        wire.send(Request(method, {}, 1))

        assert wire.hear()["error"]["code"] == code


def test_the_socket_is_for_owner_and_group(path):
    assert path.stat().st_mode & 0o777 == 0o660


@pytest.mark.parametrize("params", [{}, {"protocol": 2}, {"protocol": "1"}, {"protocol": None}])
def test_another_protocol_is_refused_and_opens_nothing(path, machine, params):
    with Wire(path, hello=False) as wire:
        wire.send(Request("hello", params, 1), Request("echo", {}, 2))

        assert "error" in wire.hear()
        assert "error" in wire.hear()
    assert machine.done == []


@pytest.mark.parametrize("method", ["echo", "stop"])
def test_nothing_is_answered_before_hello(path, machine, method):
    with Wire(path, hello=False) as wire:
        wire.send(Request(method, {}, 1))

        assert wire.hear()["error"]["message"].startswith("say hello first")
    assert machine.done == []


def test_a_notification_is_obeyed_and_not_answered(path, machine):
    with Wire(path) as wire:
        wire.send(Request("fail", {}), Request("echo", {}), Request("echo", {}, 9))

        assert wire.hear()["id"] == 9
    assert machine.done == ["fail", "echo", "echo"]


@pytest.mark.parametrize(
    ("line", "code"),
    [(b"{\n", Code.PARSE_ERROR), (b'{"method":"echo"}\n', Code.INVALID_REQUEST)],
)
def test_nonsense_is_answered_and_the_next_line_heard(path, line, code):
    with Wire(path) as wire:
        wire.socket.sendall(line)
        wire.send(Request("echo", {}, 1))

        assert wire.hear()["error"]["code"] == code
        assert wire.hear()["id"] == 1


def test_a_line_too_long_is_answered_and_ends_the_connection(path):
    with Wire(path) as wire:
        wire.socket.sendall(b"x" * LINE_LIMIT_BYTES)

        assert "longer than" in wire.hear()["error"]["message"]
        assert wire.hear() is None


def test_a_safety_call_is_answered_while_this_client_still_waits_for_others(path, machine):
    with Wire(path) as wire:
        wire.send(Request("slow", {}, 1), Request("echo", {}, 2))
        assert machine.is_busy.wait(LONG_S)
        wire.send(Request("stop", {}, 3))
        first = wire.hear()
        machine.may_go_on.set()

        assert [first["id"], wire.hear()["id"], wire.hear()["id"]] == [3, 1, 2]


def test_one_client_s_slow_answer_keeps_no_other_waiting(path, client, machine):
    with Wire(path) as wire:
        wire.send(Request("slow", {}, 1))
        assert machine.is_busy.wait(LONG_S)

        assert client.call("echo", a=1) == {"a": 1}
        machine.may_go_on.set()


def test_of_several_changes_a_busy_client_is_told_the_newest_only(path, machine):
    with Wire(path) as wire:
        wire.send(Request("subscribe", {}, 1), Request("slow", {}, 2))
        wire.hear()
        assert machine.is_busy.wait(LONG_S)
        for number in (1, 2, 3):
            line = encode(Request("status", {"sequence": number}).to_table())
            machine.callers[0].push(line)
        machine.may_go_on.set()

        assert wire.hear()["id"] == 2
        assert wire.hear()["params"] == {"sequence": 3}


def test_a_client_that_asks_without_end_is_dropped(path, machine):
    with Wire(path) as wire:
        wire.send(*(Request("slow", {}, number) for number in range(UNANSWERED_LIMIT + 2)))

        assert wire.hear() is None


def test_a_client_that_does_not_read_is_dropped(tmp_path, machine):
    asked = UNANSWERED_LIMIT - 2
    with serving(tmp_path / "s", machine, send_timeout_s=0.02), Wire(tmp_path / "s") as wire:
        wire.send(*(Request("fill", {}, number) for number in range(asked)))
        assert machine.is_busy.wait(LONG_S)
        machine.callers[0].join()

        heard = 0
        while wire.hear() is not None:
            heard += 1

    assert machine.callers[0].is_gone
    assert heard < asked


def test_open_files_come_along_with_their_call(tmp_path, client):
    before = count_files()
    (tmp_path / "a").write_text("G1X1")
    (tmp_path / "b").write_text("{}")

    with open(tmp_path / "a") as gcode, open(tmp_path / "b") as sheet:
        answer = client.load(gcode.fileno(), sheet.fileno())

    assert answer == ["G1X1", "{}"]
    assert count_files() == before


def test_files_belong_to_their_own_call_when_lines_arrive_together(tmp_path, machine):
    (tmp_path / "a").write_text("first")
    (tmp_path / "b").write_text("second")
    lines = [encode(Request(name, {}, 1).to_table()) for name in ("echo", "load", "echo")]

    with (
        serving(tmp_path / "s", machine, at_once=("slow",)),
        Wire(tmp_path / "s") as wire,
        open(tmp_path / "a") as a,
        open(tmp_path / "b") as b,
    ):
        wire.send(Request("slow", {}, 0))  # keeps the server from hearing until all has arrived
        assert machine.is_busy.wait(LONG_S)
        wire.socket.sendall(lines[0])
        socket.send_fds(wire.socket, [lines[1]], [a.fileno(), b.fileno()])
        wire.socket.sendall(lines[2])
        machine.may_go_on.set()

        assert wire.hear()["result"] == "slow"
        assert [wire.hear()["result"] for _ in lines] == [{}, ["first", "second"], {}]


def test_a_program_started_by_the_server_inherits_no_file_of_a_client(path):
    with Wire(path) as wire, open("/dev/null") as file:
        line = encode(Request("inheritable", {}, 1).to_table())
        socket.send_fds(wire.socket, [line], [file.fileno()] * 2)

        assert wire.hear()["result"] == [False, False]


@pytest.mark.parametrize("count", [0, 1, 3])
def test_a_load_without_its_two_files_is_refused(path, count):
    with Wire(path) as wire, open("/dev/null") as file:
        before = count_files()
        line = encode(Request("load", {}, 1).to_table())
        socket.send_fds(wire.socket, [line], [file.fileno()] * count)

        assert "2 open files must come along" in wire.hear()["error"]["message"]
        assert count_files() == before


@pytest.mark.parametrize(
    "line", [b"{\n", b"[]\n", b'{"jsonrpc":"2.0"}\n', encode(Request("echo", {}, 1).to_table())]
)
def test_files_nobody_takes_are_closed(path, line):
    with Wire(path) as wire, open("/dev/null") as file:
        before = count_files()
        socket.send_fds(wire.socket, [line], [file.fileno()] * 4)
        wire.hear()

        assert count_files() == before


def test_files_sent_without_an_end_of_line_end_the_connection_and_are_closed(tmp_path, machine):
    before = count_files()
    with serving(tmp_path / "s", machine), Wire(tmp_path / "s") as wire:
        with open("/dev/null") as file, contextlib.suppress(OSError):
            for _ in range(3):
                socket.send_fds(wire.socket, [b"x"], [file.fileno()] * 4)

        assert wire.hear() is None
    assert count_files() == before


def test_a_dead_server_s_socket_is_replaced(tmp_path, machine):
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(tmp_path / "s"))

    with serving(tmp_path / "s", machine), PlainClient(tmp_path / "s") as client:
        assert client.call("echo") == {}


def test_whoever_finds_the_socket_may_call_at_once(tmp_path, machine):
    for turn in range(50):
        path = tmp_path / str(turn)
        refusals = []
        caller = threading.Thread(target=_call_once_there, args=(path, refusals))
        caller.start()
        with serving(path, machine):
            caller.join()
        assert not refusals


def _call_once_there(path, refusals):
    with socket.socket(socket.AF_UNIX) as caller:
        while not path.is_socket():
            pass
        try:
            caller.connect(str(path))
        except ConnectionRefusedError as refusal:
            refusals.append(refusal)


def test_a_living_server_s_socket_is_not_replaced(path, client, machine):
    with pytest.raises(SocketUnavailable, match="somebody already listens"):
        serving(path, machine).start()

    assert client.call("echo") == {}


def test_a_file_that_is_no_socket_is_left_alone(tmp_path, machine):
    (tmp_path / "s").write_text("precious")

    with pytest.raises(SocketUnavailable, match="cannot listen"):
        serving(tmp_path / "s", machine).start()

    assert (tmp_path / "s").read_text() == "precious"


@pytest.mark.tries_writing("etchwire/transport/server.py")
def test_a_socket_needs_no_room_on_a_card_but_one_that_can_be_written(tmp_path, machine):
    with memory_card(tmp_path / "card") as card:
        card.fill()
        with serving(card.folder / "s", machine), PlainClient(card.folder / "s") as client:
            assert client.call("echo") == {}

        card.make_read_only()
        with pytest.raises(SocketUnavailable, match="cannot listen"):
            serving(card.folder / "s", machine).start()
        card.mend()

        assert list(card.folder.glob("s*")) == []


@pytest.mark.parametrize("name", ["missing/s", "x" * 200])
def test_a_place_that_cannot_be_had_is_named(tmp_path, machine, name):
    with pytest.raises(SocketUnavailable, match="cannot listen at"):
        serving(tmp_path / name, machine).start()


def test_stopping_parts_from_everybody_and_leaves_nothing_behind(tmp_path, machine):
    threads, files = threading.active_count(), count_files()
    server = serving(tmp_path / "s", machine)
    server.start()
    clients = [PlainClient(tmp_path / "s") for _ in range(3)]

    server.stop()

    for client in clients:
        with pytest.raises(DaemonAbsent):
            client.call("echo")
    assert not (tmp_path / "s").exists()
    assert (threading.active_count(), count_files()) == (threads, files)


def test_stopping_does_not_remove_a_successor_s_socket(tmp_path, machine):
    server = serving(tmp_path / "s", machine)
    server.start()
    (tmp_path / "s").unlink()

    with serving(tmp_path / "s", machine):
        server.stop()

        assert (tmp_path / "s").exists()


def test_one_client_too_many_is_told_so(path):
    with contextlib.ExitStack() as stack:
        for _ in range(CLIENTS_LIMIT):
            stack.enter_context(PlainClient(path))

        with pytest.raises(Refused, match="clients are connected already") as refusal:
            PlainClient(path)
    assert refusal.value.kind == "busy"


def test_silent_clients_give_way_to_one_that_speaks(path):
    with contextlib.ExitStack() as stack:
        silent = [stack.enter_context(Wire(path, hello=False)) for _ in range(CLIENTS_LIMIT)]

        with PlainClient(path, timeout_s=LONG_S) as client:
            assert client.call("stop") == "stopped"
        assert silent[0].hear() is None


@pytest.mark.parametrize("said", [b"", b'{"jsonrpc"', b"\n\n"])
def test_a_client_that_says_no_hello_is_parted_from_and_one_that_did_is_not(
    tmp_path, machine, said
):
    with (
        serving(tmp_path / "s", machine, hello_timeout_s=0.05),
        greeted_wire(tmp_path / "s") as greeted,
        Wire(tmp_path / "s", hello=False) as silent,
    ):
        silent.socket.sendall(said)

        assert silent.hear() is None  # by then the other's time would have been up as well
        greeted.send(Request("stop", {}, 1))
        assert greeted.hear()["result"] == "stopped"


def test_a_missing_daemon_is_named_with_its_place(tmp_path):
    with pytest.raises(DaemonAbsent, match=r"the daemon does not answer at .*/s: there is no"):
        PlainClient(tmp_path / "s")


def test_a_dead_daemon_is_told_from_a_missing_one(tmp_path):
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(tmp_path / "s"))

    with pytest.raises(DaemonAbsent, match="nobody listens there"):
        PlainClient(tmp_path / "s", peer="the practice machine")


def test_an_answer_that_stays_out_ends_the_connection(path, machine):
    with PlainClient(path, timeout_s=LONG_S) as client:
        with pytest.raises(DaemonAbsent, match="did not answer in time"):
            client.exchange("slow", {}, timeout_s=0.02)

        machine.may_go_on.set()
        with pytest.raises(DaemonAbsent):
            client.call("echo")


@pytest.mark.parametrize("nonsense", [b"HTTP/1.1 200 OK\n", b"{}\n", b"x" * 70_000, b""])
def test_somebody_else_at_the_socket_is_no_daemon(tmp_path, nonsense):
    files = count_files()
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(tmp_path / "s"))
        listener.listen()

        def reply():
            stranger, _ = listener.accept()
            with stranger, contextlib.suppress(OSError):
                stranger.sendall(nonsense)

        thread = threading.Thread(target=reply)
        thread.start()
        with pytest.raises(DaemonAbsent):
            PlainClient(tmp_path / "s")
        thread.join()

    assert count_files() == files


def test_a_subscriber_sees_the_snapshot_and_each_change(path, machine):
    with PlainClient(path) as client:
        snapshots = client.subscribe()
        seen = [next(snapshots)]
        for number in (1, 2):
            machine.callers[0].push(encode(Request("status", {"sequence": number}).to_table()))
            seen.append(next(snapshots))

    assert [snapshot["sequence"] for snapshot in seen] == [0, 1, 2]


def test_closing_from_another_thread_ends_a_subscription_quietly(path, machine):
    client = PlainClient(path)
    is_reading = threading.Event()
    seen = []

    def watch():
        for snapshot in client.subscribe():
            seen.append(snapshot)
            is_reading.set()

    watcher = threading.Thread(target=watch)
    watcher.start()
    assert is_reading.wait(LONG_S)
    client.close()
    watcher.join(LONG_S)

    assert not watcher.is_alive()
    assert seen == [{"sequence": 0}]


def test_a_subscription_ends_with_an_error_when_the_daemon_goes(tmp_path, machine):
    server = serving(tmp_path / "s", machine)
    server.start()
    with PlainClient(tmp_path / "s") as client:
        snapshots = client.subscribe()
        next(snapshots)

        server.stop()

        with pytest.raises(DaemonAbsent, match="ended the connection"):
            next(snapshots)


@pytest.fixture(scope="module")
def lasting_path(tmp_path_factory):
    machine = Machine()
    path = tmp_path_factory.mktemp("lasting") / "s"
    with serving(path, machine):
        yield path


@given(st.lists(st.binary(max_size=200) | st.just(b"\n"), max_size=6), st.booleans())
@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_whatever_one_client_writes_the_next_is_served(lasting_path, pieces, greets):
    with Wire(lasting_path, hello=greets) as wire, contextlib.suppress(OSError):
        for piece in pieces:
            wire.socket.sendall(piece)

    with PlainClient(lasting_path) as client:
        assert client.call("echo", a=1) == {"a": 1}
