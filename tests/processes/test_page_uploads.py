"""Uploads at the page as it is really served: too much of them, half of them, one from a phone."""

import http.client
import re
import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

import pytest

from etchweb.auth.codes import form_token
from etchweb.auth.store import Store
from etchweb.server.request import LARGEST_REQUEST_BYTES, TOO_LARGE
from support.samples.photo_files import encoded, scene

FOUR_GIGABYTES = 4 * 1024**3
PATIENCE_S = 60
BOUNDARY = "between-the-parts"
STANDARD_STREAMS = ("0", "1", "2")


class Page(NamedTuple):
    port: int
    folder: Path
    pid: int


def nameless_files(pid):
    """Return where the files lie that a process has opened and that have no name any more."""
    found = []
    for link in Path(f"/proc/{pid}/fd").iterdir():
        if link.name in STANDARD_STREAMS:
            continue
        with suppress(OSError):  # closed meanwhile
            target = str(link.readlink())
            if target.startswith("/") and target.endswith(" (deleted)"):
                found.append(Path(target))
    return found


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """Start the page as the command does; return its port and its folder."""
    folder = tmp_path_factory.mktemp("uploads")
    process = subprocess.Popen(
        [sys.executable, "-u", "-m", "etchwarden", "page", "--daemon", str(folder / "none"),
         "--folder", str(folder), "--port", "0", "--open-to-loopback"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    yield Page(int(re.search(r":(\d+)/", process.stdout.readline())[1]), folder, process.pid)
    process.terminate()
    process.communicate()


def head(port, *lines):
    return "\r\n".join(
        ["POST /new HTTP/1.1", f"Host: 127.0.0.1:{port}", f"Origin: http://127.0.0.1:{port}",
         f"Content-Type: multipart/form-data; boundary={BOUNDARY}", *lines, "", ""]
    ).encode()  # fmt: skip


def body(folder, data):
    token = form_token(Store(folder).secret, "loopback")
    parts = (
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="form_token"\r\n\r\n{token}\r\n'
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n'
        "Content-Type: image/jpeg\r\n\r\n"
    )
    return parts.encode() + data + f"\r\n--{BOUNDARY}--\r\n".encode()


def knock(port):
    return socket.create_connection(("127.0.0.1", port), PATIENCE_S)


def answer_on(connection):
    answer = http.client.HTTPResponse(connection)
    answer.begin()
    return answer.status, answer.read().decode()


def drafts(folder):
    return list((folder / "drafts").glob("*"))


def test_four_gigabytes_are_turned_away_before_the_first_of_them(page):
    port, folder, _ = page
    with knock(port) as connection:
        connection.sendall(head(port, f"Content-Length: {FOUR_GIGABYTES}"))

        assert answer_on(connection) == (413, TOO_LARGE)
    assert drafts(folder) == []


def test_a_body_in_chunks_is_turned_away_whatever_stands_between_them(page):
    port, folder, _ = page
    with knock(port) as connection:
        connection.sendall(head(port, "Transfer-Encoding: chunked"))
        sent = 0
        try:
            while sent < FOUR_GIGABYTES:
                connection.sendall(b"5;" + bytes(1024 * 1024))  # an extension without an end
                sent += 1024 * 1024
        except OSError:
            pass  # it has hung up

    assert sent < LARGEST_REQUEST_BYTES
    assert drafts(folder) == []


def test_what_arrives_waits_in_the_pages_own_folder_and_nowhere_else(page):
    port, folder, _ = page
    whole = body(folder, bytes(8_000_000))
    with knock(port) as connection:
        connection.sendall(head(port, f"Content-Length: {len(whole)}") + whole[: len(whole) // 2])
        deadline_s = time.monotonic() + PATIENCE_S
        while not (waiting := nameless_files(page.pid)):
            assert time.monotonic() < deadline_s

    assert {path.parent for path in waiting} == {folder}


def test_half_a_photo_leaves_nothing_behind_and_the_next_one_comes_through(page):
    port, folder, _ = page
    whole = body(folder, encoded(scene(), "JPEG"))
    with knock(port) as connection:
        connection.sendall(head(port, f"Content-Length: {len(whole)}") + whole[: len(whole) // 2])
    assert drafts(folder) == []

    with knock(port) as connection:
        connection.sendall(head(port, f"Content-Length: {len(whole)}") + whole)
        status, _ = answer_on(connection)

    assert status == 303
    assert len(drafts(folder)) == 1


def test_a_body_cut_short_of_its_last_mark_is_refused_with_a_sentence(page):
    port, folder, _ = page
    before = drafts(folder)
    cut = body(folder, encoded(scene(300, 200), "JPEG"))[:-400]
    with knock(port) as connection:
        connection.sendall(head(port, f"Content-Length: {len(cut)}") + cut)
        status, said = answer_on(connection)

    assert status in (403, 422)
    assert '<p class="' in said
    assert drafts(folder) == before
