"""The processes of a household that can be killed, each by itself, and started again."""

import http.client
import re
import signal
import time
from contextlib import closing, contextmanager
from pathlib import Path

from etchpath.writer.dots import Order, write_job
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.errors import WireError
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import patch
from support.harnesses.plain_client import PlainClient

PATIENCE_S = 120.0
ROWS, COLUMNS, DOTS_ABREAST = 400, 100, 10  # what is killed is no stream of lines
SPEEDUP = "20"


class KillableHouse:
    """Practice machine, daemon and page on one folder, and a job of no meaning."""

    def __init__(self, folder):
        self.folder = folder
        self.household = ProcessGroup(folder)
        self.session = Session(self.household, folder)
        self.machine, self.state = folder / "machine", folder / "records"
        self.page_folder = folder / "page"
        self.page_port = None  # while it is there
        self.is_daemon_there = False
        self._make_job()
        self.start_machine()

    def end(self):
        self.household.end()

    def kill(self, name):
        self.household.send(name, signal.SIGKILL)
        self.is_daemon_there &= name != "daemon"
        if name == "page":
            self.page_port = None

    def start_machine(self):
        self.household.start("practice machine", "machine", "--folder", str(self.machine),
                             "--speedup", SPEEDUP)  # fmt: skip
        self.until(self._machine_answers)

    def start_daemon(self):
        """Start it, and do not wait."""
        self.household.start(
            "daemon", "daemon", "--port", str(self.machine / "port"), "--socket",
            str(self.folder / "daemon.sock"), "--state", str(self.state), "--practice",
            str(self.machine),
        )  # fmt: skip
        self.is_daemon_there = True

    def start_page(self):
        self.household.start(
            "page", "page", "--daemon", str(self.folder / "daemon.sock"), "--folder",
            str(self.page_folder), "--port", "0", "--open-to-loopback", "--practice",
            str(self.machine),
        )  # fmt: skip
        found = self.until(lambda: re.search(r"http://\S+:(\d+)/", self.log("page")))
        self.page_port = int(found[1])
        self.until(lambda: "The box does not answer" not in self.page("/"))

    def page(self, path):
        """Return what stands on a page."""
        with closing(http.client.HTTPConnection("127.0.0.1", self.page_port, PATIENCE_S)) as phone:
            phone.request("GET", path)
            return phone.getresponse().read().decode()

    @contextmanager
    def open_job(self):
        """Open the files of the job."""
        gcode, sheet = self.session.job / GCODE_NAME, self.session.job / SHEET_NAME
        with gcode.open("rb") as one, sheet.open("rb") as other:
            yield one.fileno(), other.fileno()

    def press_button(self):
        with self.session.ask_machine() as machine:
            machine.call("press_button")

    def daemon(self):
        """Return a connection to the daemon as soon as it answers."""
        return self.until(self._daemon_answers)

    def require_outputs_off(self):
        """Wait until every output of the board has fallen."""
        with self.session.ask_machine() as machine:
            self.until(lambda: not any(machine.call("state")["outputs"].values()))
            assert not machine.call("state")["is_burning"]

    def children(self):
        """Return the child processes that work in our folder, whosever they are."""
        found = []
        for path in Path("/proc").glob("[0-9]*/cmdline"):
            try:
                words = path.read_bytes()
            except OSError:  # it has just ended
                continue
            if b"_process\0" in words and str(self.folder).encode() in words:
                found.append(int(path.parent.name))
        return found

    def pid_of(self, name):
        return self.household._processes[name].pid

    def log(self, name):
        return (self.folder / f"{name.replace(' ', '-')}.log").read_text(errors="replace")

    def until(self, there):
        """Wait for something, and return it."""
        deadline_s = time.monotonic() + PATIENCE_S
        while not (found := there()):
            self.household.require_all()
            assert time.monotonic() < deadline_s, there
            time.sleep(0.01)
        return found

    def _daemon_answers(self):
        try:
            return PlainClient(self.folder / "daemon.sock")
        except WireError:
            return None

    def _machine_answers(self):
        try:
            self.session.ask_machine().close()
        except WireError:
            return False
        return True

    def _make_job(self):
        self.session.job.mkdir()
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            halftone="none",
        )
        with (self.session.job / GCODE_NAME).open("wb") as file:
            bits = patch(ROWS, COLUMNS // DOTS_ABREAST).repeat(DOTS_ABREAST, axis=1)
            sheet = write_job(bits, file, order)
        (self.session.job / SHEET_NAME).write_text(sheet.to_json())
