"""Daemon and page at work under their units' filters, with a service manager that listens.

The machine is the practice machine, outside the filters: its port is a real pseudo-terminal. What
a real adapter and real pins need is not met here.
"""

import http.client
import os
import queue
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import ExitStack
from pathlib import Path

import pytest

from etchpath.writer.dots import Order, write_job
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchweb.auth.codes import form_token
from etchweb.auth.store import Store
from etchweb.server.host_names import own_addresses
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import patch
from support.harnesses.install_bench import ROOT
from support.harnesses.page_bench import require
from support.harnesses.plain_client import PlainClient
from support.samples.photo_files import encoded, scene

SIEVE = Path(__file__).with_name("sieve.py")
PATIENCE_S = 60.0
ROWS = 400  # it is stopped long before its end, also on a busy computer


class Manager:
    """A service manager that reads whatever it is told, at once: it has room for a few words."""

    def __init__(self, path):
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self._said = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._read)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._socket.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._socket.close()

    def _read(self):
        while words := self._socket.recv(4096).decode():
            for word in words.split("\n"):
                self._said.put(word)

    def hear(self, word):
        """Wait until it is told `word`."""
        deadline_s = time.monotonic() + PATIENCE_S
        while self._said.get(timeout=deadline_s - time.monotonic()) != word:
            pass

    def is_told_nothing_for(self, seconds):
        """Forget what was said until now, and return whether nothing more is for so long."""
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as own:
            own.sendto(b"NOW", self._socket.getsockname())
        self.hear("NOW")
        try:
            self._said.get(timeout=seconds)
        except queue.Empty:
            return True
        return False


class Workshop:
    """A practice machine, and programs started as the units have them started."""

    def __init__(self, folder, parts):
        require("systemd-analyze")
        self.folder, self.parts = folder, parts
        self.household = parts.enter_context(ProcessGroup(folder))
        self.session = Session(self.household, folder)
        self.manager = parts.enter_context(Manager(folder / "notify"))

    def start(self, unit, *words):
        process = subprocess.Popen(
            [sys.executable, SIEVE, ROOT / "systemd" / unit, sys.executable, "-um", "etchwarden",
             *map(str, words)],
            env=os.environ | {"NOTIFY_SOCKET": str(self.folder / "notify")},
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.parts.callback(process.stdout.close)
        self.parts.callback(process.wait)
        self.parts.callback(process.kill)
        return process

    def start_machine_and_daemon(self):
        machine = self.folder / "machine"
        self.household.start(
            "practice machine", "machine", "--folder", str(machine), "--speedup", "5"
        )
        self.until((machine / "board.sock").is_socket)
        self.until((machine / "control.sock").is_socket)
        return self.start(
            "etchwarden-daemon@.service", "daemon", "--port", machine / "port", "--socket",
            self.folder / "daemon.sock", "--state", self.folder / "records", "--practice", machine,
        )  # fmt: skip

    def write_job(self):
        self.session.job.mkdir()
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            halftone="none",
        )
        with (self.session.job / GCODE_NAME).open("wb") as file:
            bits = patch(ROWS, 30).repeat(10, axis=1)  # its lines are not what is tried
            sheet = write_job(bits, file, order)
        (self.session.job / SHEET_NAME).write_text(sheet.to_json())

    def ask(self, method, **params):
        with PlainClient(self.session.socket) as daemon:
            return daemon.call(method, **params)

    def until(self, holds):
        deadline_s = time.monotonic() + PATIENCE_S
        while not (held := holds()):
            assert time.monotonic() < deadline_s
            self.household.require_all()
            time.sleep(0.02)
        return held

    def run_that_ended(self):
        return self.until(lambda: self.ask("status")["state"] == "ended" and self.ask("status"))


@pytest.fixture
def workshop(tmp_path):
    with ExitStack() as parts:
        yield Workshop(tmp_path, parts)


def test_under_its_filters_the_daemon_checks_a_job_etches_and_backs_up(workshop):
    workshop.write_job()
    daemon = workshop.start_machine_and_daemon()
    workshop.manager.hear("READY=1")
    workshop.manager.hear("WATCHDOG=1")

    workshop.session.begin_etch()
    workshop.until(lambda: ((workshop.ask("status")["run"] or {}).get("row") or 0) > 3)
    workshop.ask("stop")
    first = workshop.run_that_ended()["run"]
    workshop.ask("backup")
    workshop.until(lambda: workshop.ask("backups")["kept"])
    daemon.terminate()

    workshop.manager.hear("STOPPING=1")
    assert first["ended"] == "stopped"
    assert daemon.wait(PATIENCE_S) == 0


def start_daemon(workshop):
    return workshop.start_machine_and_daemon()


def start_page(workshop):
    return workshop.start(
        "etchwarden-web.service", "page", "--daemon", workshop.folder / "none", "--folder",
        workshop.folder / "kept", "--port", "0", "--open-to-loopback",
    )  # fmt: skip


@pytest.mark.parametrize("start", [start_daemon, start_page])
def test_a_program_that_stands_still_says_nothing_to_the_service_manager(workshop, start):
    program = start(workshop)
    workshop.manager.hear("WATCHDOG=1")

    program.send_signal(signal.SIGSTOP)
    os.waitid(os.P_PID, program.pid, os.WSTOPPED | os.WNOWAIT)  # a busy computer stops it later

    assert workshop.manager.is_told_nothing_for(2.5)


def test_under_its_filters_the_page_finds_the_addresses_of_the_board():
    require("systemd-analyze")
    asked = "from etchweb.server.host_names import own_addresses as own; print(own())"
    unit = ROOT / "systemd/etchwarden-web.service"

    done = subprocess.run(
        [sys.executable, SIEVE, unit, sys.executable, "-c", asked],
        capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert done.stdout == f"{own_addresses()}\n", done.stderr


def upload(port, folder):
    """Hand a photo to the page as a browser does; return the answer's status."""
    token = form_token(Store(folder).secret, "loopback")
    part = "--x\r\nContent-Disposition: form-data; name="
    photo = encoded(scene(300, 200), "JPEG")
    before = f'{part}"form_token"\r\n\r\n{token}\r\n{part}"photo"; filename="a.jpg"\r\n\r\n'
    phone = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
    phone.request(
        "POST", "/new", before.encode() + photo + b"\r\n--x--\r\n",
        {"Origin": f"http://127.0.0.1:{port}", "Content-Type": "multipart/form-data; boundary=x"},
    )  # fmt: skip
    status = phone.getresponse().status
    phone.close()
    return status


def test_under_its_filters_the_page_takes_a_photo_and_has_it_read_by_its_child(workshop):
    page = start_page(workshop)
    port = int(re.search(r":(\d+)/", page.stdout.readline())[1])
    workshop.manager.hear("READY=1")

    status = upload(port, workshop.folder / "kept")
    workshop.manager.hear("WATCHDOG=1")
    page.terminate()

    workshop.manager.hear("STOPPING=1")
    assert status == http.HTTPStatus.SEE_OTHER
    assert page.wait(PATIENCE_S) == 0
