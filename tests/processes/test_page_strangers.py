"""The page as a process with few open files, and more strangers than it has files for."""

import http.client
import re
import socket
import subprocess
import sys
from contextlib import ExitStack
from pathlib import Path

import pytest

OPEN_FILES = 64
PATIENCE_S = 60


@pytest.fixture
def page(tmp_path):
    process = subprocess.Popen(
        ["prlimit", f"--nofile={OPEN_FILES}", sys.executable, "-u", "-m", "etchwarden", "page",
         "--daemon", str(tmp_path / "none"), "--folder", str(tmp_path), "--port", "0",
         "--open-to-loopback"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    yield process
    process.kill()
    process.communicate()


def test_strangers_leave_the_page_files_to_answer_with(page):
    port = int(re.search(r":(\d+)/", page.stdout.readline())[1])
    with ExitStack() as stack:
        for number in range(3 * OPEN_FILES):
            address = (f"127.0.1.{1 + number % 50}", 0)
            stack.enter_context(
                socket.create_connection(("127.0.0.1", port), PATIENCE_S, source_address=address)
            )
        phone = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
        statuses = []
        for _ in range(2):  # behind all of them in the kernel's queue; then when places are given
            phone.request("GET", "/watch.json")
            answer = phone.getresponse()
            answer.read()
            statuses.append(answer.status)

        open_files = len(list(Path(f"/proc/{page.pid}/fd").iterdir()))
        phone.close()
    page.terminate()
    _, complaints = page.communicate(timeout=PATIENCE_S)

    assert statuses == [http.HTTPStatus.OK] * 2
    assert open_files < OPEN_FILES / 2
    assert complaints == ""
