"""`etchwarden page` as a process of its own: it starts without a daemon, and ends when told."""

import http.client
import re
import signal
import socket
import subprocess
import sys

import pytest

PATIENCE_S = 60


@pytest.fixture(scope="module")
def start_page(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    pages = []

    def start_page(*options):
        command = [sys.executable, "-u", "-m", "etchwarden", "page"]
        own = folder / str(len(pages))
        command += ["--daemon", str(folder / "nobody.sock"), "--folder", str(own)]
        page = subprocess.Popen(
            [*command, *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        pages.append(page)
        return page

    yield start_page
    for page in pages:
        page.kill()
        page.communicate()


def port_of(page):
    return int(re.search(r"http://127\.0\.0\.1:(\d+)/", page.stdout.readline())[1])


@pytest.fixture(scope="module")
def port(start_page):
    """Where a page is that nobody ends."""
    return port_of(start_page("--port", "0", "--open-to-loopback"))


def test_the_page_starts_without_a_daemon_and_says_so(port):
    phone = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)

    phone.request("GET", "/")
    answer = phone.getresponse()
    text = answer.read().decode()
    phone.close()

    assert answer.status == 200
    assert "The box does not answer" in text


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_page_ends_when_told_although_a_phone_is_watching(start_page, number):
    page = start_page("--port", "0", "--open-to-loopback")
    phone = http.client.HTTPConnection("127.0.0.1", port_of(page), timeout=PATIENCE_S)
    phone.request("GET", "/watch/stream")
    stream = phone.getresponse()
    assert stream.readline() == b"retry: 2000\n"

    page.send_signal(number)
    _, complaints = page.communicate(timeout=PATIENCE_S)
    stream.close()
    phone.close()

    assert page.returncode == 0
    assert "Traceback" not in complaints


def test_a_phone_that_leaves_gives_its_stream_to_another(port):
    for _ in range(3 * 8):  # three times as many as there is room for, one after the other
        with socket.create_connection(("127.0.0.1", port), PATIENCE_S) as phone:
            phone.sendall(b"GET /watch/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            status = phone.makefile("rb").readline()
            while b" 503 " in status:  # the one that left has not been noticed yet
                with socket.create_connection(("127.0.0.1", port), PATIENCE_S) as again:
                    again.sendall(b"GET /watch/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
                    status = again.makefile("rb").readline()
        assert b" 200 " in status


def test_the_page_says_which_port_is_taken_and_does_not_run(start_page, port):
    second = start_page("--port", str(port))
    _, complaints = second.communicate(timeout=PATIENCE_S)

    assert second.returncode == 1
    assert f"Port {port} on 127.0.0.1 is in use" in complaints
