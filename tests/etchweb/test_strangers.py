"""Strangers at the page's socket: what each attack gets; a phone's *stop* comes through."""

import errno

import pytest

from etchweb.server.admission import MOST_OF_ONE_STRANGER
from etchweb.server.channel import IDLE_S, REQUEST_S, STALLED_S
from etchweb.server.errors import UNKNOWN_NAME
from etchweb.server.request import LARGEST_HEADERS_BYTES, NO_LENGTH
from etchweb.server.server import NO_DESCRIPTOR_S, KnownFirst
from etchweb.server.uploads import ALREADY_SENDING
from support.harnesses.door import PHONE, answer_on, door_at, is_closed, is_open, until
from support.samples.photo_files import encoded, scene

pytestmark = pytest.mark.slow

ATTACK = 100
PHOTO_BYTES = 8_000_000


@pytest.fixture
def door(tmp_path):
    with door_at(tmp_path) as door:
        yield door


def test_a_hundred_silent_connections_keep_the_places_of_one_address(door):
    silent = [door.knock() for _ in range(ATTACK)]

    assert door.stop() == 303
    assert door.was_stopped
    assert door.kept(silent) <= MOST_OF_ONE_STRANGER


def test_at_the_phones_own_address_the_newest_connection_gets_in(door):
    door.watch()
    silent = [door.knock(PHONE) for _ in range(ATTACK)]

    assert door.stop() == 303
    assert door.kept(silent) < ATTACK


def test_many_addresses_together_get_the_strangers_share(door):
    door.watch()
    silent = [door.knock(f"127.0.1.{number}") for number in range(1, ATTACK)]

    assert door.stop() == 303
    assert door.kept(silent) <= door.server.caps.strangers


def test_somebody_new_can_still_be_paired_among_many_silent_addresses(door):
    silent = [door.knock(f"127.0.1.{number}") for number in range(1, ATTACK)]
    newcomer = door.knock("127.0.2.1")
    newcomer.sendall(door.head("GET", "/pair", cookie=False))

    assert answer_on(newcomer)[0] == 200
    assert silent


@pytest.mark.parametrize(
    "first",
    [b"", b"\r\n", b"GET /pair HT", b"GET /pair HTTP/1.1\r\nHost: x\r\nX-One: 1\r\n"],
    ids=["nothing", "an empty line", "half a first line", "half the headers"],
)
def test_headers_that_do_not_come_are_waited_for_until_their_deadline(door, first):
    slow = door.knock()
    slow.sendall(first)
    door.watch()  # later than that came

    door.let_pass(REQUEST_S - 0.1)
    assert is_open(slow)
    door.let_pass(0.7)

    assert is_closed(slow)


def test_a_header_line_now_and_then_moves_no_deadline(door):
    slow = door.knock()
    slow.sendall(b"GET /pair HTTP/1.1\r\n")
    for _ in range(4):
        door.watch()
        door.let_pass(REQUEST_S / 4 + 0.1)
        slow.sendall(b"X-Slow: 1\r\n")

    assert is_closed(slow)


def test_a_connection_that_was_answered_may_be_idle_for_longer(door):
    client = door.knock()
    client.sendall(door.head("GET", "/pair", cookie=False))
    answer_on(client)

    door.let_pass(IDLE_S - 0.1)
    assert is_open(client)
    door.let_pass(0.7)

    assert is_closed(client)


def test_headers_without_an_end_are_refused_at_their_size(door):
    client = door.knock()
    client.sendall(b"GET /pair HTTP/1.1\r\nX-Long: " + b"x" * LARGEST_HEADERS_BYTES)

    assert answer_on(client)[0] == 431


def test_a_body_in_chunks_is_refused_before_the_first_chunk(door):
    client = door.knock()
    client.sendall(door.head("POST", "/pair", "Transfer-Encoding: chunked", cookie=False))

    status, sentence = answer_on(client)

    assert status == 411
    assert sentence == NO_LENGTH


def test_a_stranger_who_asks_too_often_is_told_so_and_a_phone_is_not(door):
    door.watch()
    statuses = []
    for _ in range(3):
        client = door.knock()
        for _ in range(50):
            client.sendall(door.head("GET", "/static/nothing", cookie=False))
            statuses.append(answer_on(client)[0])
            if statuses[-1] == 429:
                break

    assert statuses[-1] == 429
    assert [door.watch() for _ in range(len(statuses))] == [200] * len(statuses)


def test_known_addresses_are_answered_first():
    class Waiting:
        def __init__(self, name, is_known):
            self.name, self.is_known = name, is_known

    queue = KnownFirst()
    for name in ("stranger 1", "phone 1", "stranger 2", "phone 2"):
        queue.append(Waiting(name, name.startswith("phone")))

    assert [queue.popleft().name for _ in range(len(queue))] == [
        "phone 1", "phone 2", "stranger 1", "stranger 2",
    ]  # fmt: skip


def test_without_a_descriptor_nobody_is_let_in_for_a_moment_instead_of_spinning(door):
    server, accepted = door.server, []

    class Listener:
        def accept(self):
            accepted.append(1)
            raise OSError(errno.EMFILE, "Too many open files")

    real, server.socket = server.socket, Listener()
    server.handle_accept()
    server.socket = real

    assert len(accepted) == 1
    assert not server.readable()
    door.clock.now_s += NO_DESCRIPTOR_S
    assert server.readable()


@pytest.mark.parametrize(
    ("path", "cookie", "status"),
    [
        ("/new", False, 403),
        ("/pair", False, 413),
        ("/nowhere", True, 413),
        ("/stop", True, 413),
    ],
)  # fmt: skip
def test_who_may_not_send_a_large_body_hears_so_at_the_headers(door, path, cookie, status):
    client = door.knock()
    _, kind = door.multipart(b"")
    length = f"Content-Length: {PHOTO_BYTES}"

    client.sendall(door.head("POST", path, kind, length, "Expect: 100-continue", cookie=cookie))

    assert answer_on(client)[0] == status


def test_a_phone_that_sends_too_much_hears_why_after_sending_all_of_it(door):
    door.watch()
    form, kind = door.multipart(bytes(45_000_000))
    client = door.knock(PHONE)

    client.sendall(door.head("POST", "/new", kind, f"Content-Length: {len(form)}") + form)
    status, text = answer_on(client)

    assert status == 413
    assert "more than this" in text
    assert is_closed(client)


def test_what_a_phone_goes_on_sending_is_not_thrown_away_for_ever(door):
    door.watch()
    client = door.knock(PHONE)
    _, kind = door.multipart(b"")
    client.sendall(door.head("POST", "/new", kind, "Content-Length: 45000000"))
    answer_on(client)
    assert is_closed(client)  # it hears no more from us, and has a place still
    assert len(door.server.guests) == 2  # with the one that watches

    door.let_pass(REQUEST_S + 1)

    until(lambda: len(door.server.guests) == 1)


def test_who_may_is_invited_to_send_and_is_heard_out(door):
    door.daemon.tell("idle")
    form, kind = door.multipart(encoded(scene(2000, 1500), "PNG"))
    client = door.knock(PHONE)
    client.sendall(
        door.head("POST", "/new", kind, f"Content-Length: {len(form)}", "Expect: 100-continue")
    )
    invitation = client.recv(100)
    client.sendall(form)

    assert invitation == b"HTTP/1.1 100 Continue\r\n\r\n"
    assert answer_on(client)[0] == 303


def test_a_phone_sends_one_photo_at_a_time(door):
    form, kind = door.multipart(bytes(PHOTO_BYTES))
    head = door.head("POST", "/new", kind, f"Content-Length: {len(form)}")
    first, second = door.knock(PHONE), door.knock(PHONE)
    first.sendall(head + form[:100_000])
    until(lambda: door.shared.uploads.are_under_way)

    second.sendall(head)
    status, text = answer_on(second)
    first.close()
    until(lambda: not door.shared.uploads.are_under_way)

    assert status == 409
    assert ALREADY_SENDING in text


def test_what_came_while_the_server_was_kept_waiting_is_read_before_it_is_judged(door):
    client = door.knock()
    door.let_pass(0)
    with door.busy(REQUEST_S + 1):
        client.sendall(door.head("GET", "/pair", cookie=False))

    assert answer_on(client)[0] == 200


def test_a_photo_that_stalls_is_waited_for_until_its_deadline(door):
    form, kind = door.multipart(bytes(PHOTO_BYTES))
    client = door.knock(PHONE)
    client.sendall(door.head("POST", "/new", kind, f"Content-Length: {len(form)}") + form[:100])
    until(lambda: door.shared.uploads.are_under_way)

    door.let_pass(STALLED_S + 1)

    assert is_closed(client)
    until(lambda: not door.shared.uploads.are_under_way)


def test_an_unknown_name_gets_a_sentence_and_one_line_in_the_log(door, caplog):
    for _ in range(3):
        client = door.knock()
        client.sendall(b"GET /pair HTTP/1.1\r\nHost: a-foreign.example\r\n\r\n")
        status, sentence = answer_on(client)
        assert status == 400
        assert sentence.startswith(UNKNOWN_NAME)

    assert len(caplog.messages) <= 1
    assert "Traceback" not in caplog.text
