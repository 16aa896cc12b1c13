"""A board of several machines as processes: one page for all, and the self-check of each."""

import http.client
import re
import socket
import subprocess
import sys
import time

import pytest

from etchwarden.installation.paths import Places
from etchwarden.selfcheck.machine_look import look_at_machine
from etchwarden.selfcheck.page_look import look_at_page
from support.harnesses.install_bench import BOARD

PATIENCE_S = 60
PROGRAM = (sys.executable, "-u", "-m", "etchwarden")


@pytest.fixture
def places(tmp_path):
    """A board with the machines “left” and “right”, neither of which runs."""
    places = Places(tmp_path)
    places.settings.mkdir(parents=True)
    for name in ("left", "right"):
        (places.settings / f"{name}.toml").write_text('[machine]\nport = "/dev/nothing"\n')
    return places


@pytest.fixture
def start():
    started = []

    def start(*arguments):
        process = subprocess.Popen([*PROGRAM, *arguments], stdout=subprocess.PIPE, text=True)
        started.append(process)
        return process

    yield start
    for process in started:
        process.kill()
        process.communicate()


def knock_until_open(path):
    deadline_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline_s:
        with socket.socket(socket.AF_UNIX) as knock:
            if knock.connect_ex(str(path)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError(f"nobody listens at {path}")


def test_one_page_serves_every_machine_of_the_board(start, places):
    text = BOARD["page.toml"].decode().replace('host = "0.0.0.0"', 'host = "127.0.0.1"')
    settings = places.settings / "page.toml"
    settings.write_text(text.replace("port = 8080", "port = 0"))
    page = start("page", "--settings", str(settings), "--folder", str(places.page_records))
    port = int(re.search(r"http://127\.0\.0\.1:(\d+)/", page.stdout.readline())[1])
    settings.write_text(text.replace("port = 8080", f"port = {port}"))
    phone = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)

    answers = []
    for path in ("/", "/m/left/", "/m/right/pair"):
        phone.request("GET", path)
        answer = phone.getresponse()
        answer.read()
        answers.append((answer.status, answer.headers["Location"]))
    phone.close()

    assert answers == [(302, "/m/left/machines"), (403, None), (200, None)]
    assert look_at_page(places).status_code == 302


def test_without_a_daemon_the_self_check_asks_the_controller_itself(start, places, tmp_path):
    machine = tmp_path / "machine"
    start("machine", "--folder", str(machine), "--speedup", "20")
    knock_until_open(machine / "control.sock")
    port = (machine / "port").readlink()
    (places.settings / "left.toml").write_text(f'[machine]\nport = "{port}"\n')

    facts = look_at_machine("left", places)

    assert facts.controller_fault == ""
    assert facts.settings.is_read
    assert not facts.settings.refusals


def test_with_a_daemon_the_self_check_asks_it(start, places, tmp_path):
    machine, at = tmp_path / "machine", places.socket("left")
    at.parent.mkdir(parents=True)
    start("machine", "--folder", str(machine), "--speedup", "20")
    knock_until_open(machine / "control.sock")
    start(
        "daemon", "--port", str(machine / "port"), "--practice", str(machine),
        "--socket", str(at), "--state", str(places.records / "left"),
    )  # fmt: skip
    knock_until_open(at)

    facts = look_at_machine("left", places)

    assert facts.status.logbook_trouble is None
    assert facts.settings is not None
    assert facts.socket_mode == 0o660
