"""A box of real processes beside a memory card: practice machine, daemon and page."""

import http.client
import os
import re
import time
import urllib.parse
from contextlib import closing
from functools import partial

import pytest

from etchpath.writer.dots import Order, write_job
from etchpractice.scenario.people import ANSWERS
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.errors import Refused, WireError
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import patch
from support.harnesses.broker import free_port
from support.harnesses.plain_client import PlainClient
from support.harnesses.presses import pressing_until
from support.harnesses.started import started

PATIENCE_S = 60.0


class Box:
    """A practice machine beside the card; daemon and page on it."""

    def __init__(self, folder, card, parts):
        self.folder, self.card, self.parts = folder, card, parts
        self.machine, self.records = folder / "machine", card.folder / "records"
        self.page_folder, self.job = card.folder / "page", folder / "job"
        # No faster: on a busy computer it would be silent for longer than the daemon's patience.
        self.start("machine", "--folder", str(self.machine), "--speedup", "5")
        until((self.machine / "control.sock").is_socket)

    def start(self, *words):
        log = self.parts.enter_context((self.folder / f"{words[0]}.log").open("ab"))
        # A board has its folder for passing files on the same card.
        surroundings = os.environ | {"TMPDIR": str(self.card.folder)}
        return started(self.parts, *words, stdout=log, stderr=log, env=surroundings)

    def start_daemon(self, records=None):
        address = self.folder / "daemon.sock"
        address.unlink(missing_ok=True)
        self.daemon = self.start(
            "daemon", "--port", str(self.machine / "port"), "--socket", str(address),
            "--state", str(records or self.records), "--practice", str(self.machine),
        )  # fmt: skip
        until(lambda: address.is_socket() or self.daemon.poll() is not None)
        self.until(lambda status: status["machine"]["link"] == "ready")

    def start_page(self):
        self.port = free_port()
        self.page = self.start(
            "page", "--daemon", str(self.folder / "daemon.sock"), "--folder",
            str(self.page_folder), "--port", str(self.port), "--open-to-loopback",
        )  # fmt: skip
        until(lambda: self.page.poll() is not None or self.is_page_there())

    def is_page_there(self):
        try:
            return self.browse("/")[0] == 200
        except OSError:
            return False

    def end(self, process):
        process.terminate()
        process.wait(PATIENCE_S)

    def ask(self, method, **params):
        with PlainClient(self.folder / "daemon.sock") as daemon:
            return daemon.call(method, **params)

    def refusal(self, method, **params):
        with pytest.raises(Refused) as refused:
            self.ask(method, **params)
        return str(refused.value)

    def until(self, holds):
        deadline_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                if holds(status := self.ask("status")):
                    return status
            except WireError:
                assert self.daemon.poll() is None, self.log("daemon")
                status = None
            assert time.monotonic() < deadline_s, (status, self.log("daemon"))
            time.sleep(0.02)

    def make_job(self, rows):
        self.job.mkdir(exist_ok=True)
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            halftone="none",
        )
        with (self.job / GCODE_NAME).open("wb") as file:
            sheet = write_job(patch(rows, 60), file, order)
        (self.job / SHEET_NAME).write_text(sheet.to_json())

    def load(self):
        with (
            PlainClient(self.folder / "daemon.sock") as daemon,
            (self.job / GCODE_NAME).open("rb") as gcode,
            (self.job / SHEET_NAME).open("rb") as sheet,
        ):
            return daemon.load(gcode.fileno(), sheet.fileno())

    def arm(self):
        if not self.ask("status")["machine"]["origin"]["is_known"]:
            self.until(lambda status: "set_origin" in status["may"])
            self.ask("set_origin")
        with PlainClient(self.machine / "control.sock", peer="the practice machine") as machine:
            press = partial(machine.call, "press_button")
            self.until(pressing_until(lambda status: "arm" in status["may"], press))
            self.ask("arm", answers=dict(ANSWERS))
            self.until(pressing_until(lambda status: "start" in status["may"], press))

    def etch(self):
        self.load()
        self.arm()
        self.ask("start", acknowledge_long_run=True)
        return self.until(lambda status: (status["run"] or {}).get("etched_rows"))["run"]["id"]

    def browse(self, path, form=None, photo=None):
        """Get an address, or press a button with `form`; return status and words."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        with closing(link):
            if form is None and photo is None:
                link.request("GET", path)
            else:
                token = re.search(r'name="form_token" value="([^"]+)"', self.browse("/new")[1])[1]
                body, kind = _encoded({"form_token": token, **(form or {})}, photo)
                origin = f"http://127.0.0.1:{self.port}"
                told = {"Content-Type": kind, "Accept": "application/json", "Origin": origin}
                link.request("POST", path, body, told)
            answer = link.getresponse()
            return answer.status, answer.read().decode()

    def log(self, name):
        return (self.folder / f"{name}.log").read_text()


def _encoded(form, photo):
    if photo is None:
        return urllib.parse.urlencode(form), "application/x-www-form-urlencoded"
    parts = [
        f'--line\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in form.items()
    ]
    parts.append(
        b'--line\r\nContent-Disposition: form-data; name="photo"; filename="hands.jpg"\r\n'
        b"Content-Type: image/jpeg\r\n\r\n" + photo + b"\r\n--line--\r\n"
    )
    return b"".join(parts), "multipart/form-data; boundary=line"


def until(holds):
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline_s
        time.sleep(0.02)
