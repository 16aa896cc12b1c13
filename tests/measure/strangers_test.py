"""A flood of strangers beside an etch: `pytest -m measure tests/measure/strangers_test.py -s`.

A practice household in real time serves one page for two machines. The first etches; at the
second, which is idle, a paired phone presses *stop* twice a second, each time by a new
connection, while strangers attack the page and silent clients the daemons' sockets. All is
loopback. ETCHWARDEN_MEASURE_S sets how long. Asked for: a stop within a second, a page within
120 MB, no starved planner.
"""

import http.client
import json
import os
import re
import socket
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path
from urllib.parse import urlencode

import pytest

from etchpath.writer.dots import Order, write_job
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchweb.auth.codes import form_token, token_digest
from etchweb.auth.store import Store
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from etchwire.transport.server import CLIENTS_LIMIT
from measure.busy_box import NICE, UNIT
from measure.link_cost_test import SECONDS, _percentile
from rig.bench import patch
from support.harnesses.plain_client import PlainClient

pytestmark = pytest.mark.measure

ROWS = 400
PRESS_EVERY_S = 0.5


class Shop:
    """Two machines, one of which etches, and their page."""

    def __init__(self, folder, household):
        self.folder, self.household = folder, household
        for name in ("left", "right"):
            (folder / name).mkdir()
            (folder / "sockets" / name).mkdir(parents=True)
            (folder / "sockets" / name / "api.sock").symlink_to(folder / name / "daemon.sock")
        self.left, self.right = Session(household, folder / "left"), folder / "right"
        self.left.start_machine("--speedup", "1")
        self._start_second()
        (folder / "page.toml").write_text(
            f'host = "127.0.0.1"\nport = 0\nmachines = ["left", "right"]\n'
            f'sockets = "{folder / "sockets"}"\n'
        )
        self.kept = folder / "kept"
        household.start(
            "page", "page", "--settings", str(folder / "page.toml"), "--folder", str(self.kept)
        )
        household.wait_until(lambda: re.search(r":\d+/", self.log))
        self.port = int(re.search(r":(\d+)/", self.log)[1])

    def _start_second(self):
        machine = self.right / "machine"
        self.household.start("machine", "machine", "--folder", str(machine), "--speedup", "1")
        self.household.wait_until((machine / "control.sock").is_socket)
        self.household.start(
            "right", "daemon", "--port", str(machine / "port"), "--socket",
            str(self.right / "daemon.sock"), "--state", str(self.right / "records"),
            "--practice", str(machine),
        )  # fmt: skip
        self.household.wait_until((self.right / "daemon.sock").is_socket)

    @property
    def log(self):
        return (self.folder / "page.log").read_text()

    def begin_etch(self):
        self.left.job.mkdir()
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            halftone="none",
        )
        with (self.left.job / GCODE_NAME).open("wb") as file:
            sheet = write_job(patch(ROWS, 1000), file, order)
        (self.left.job / SHEET_NAME).write_text(sheet.to_json())
        self.left.begin_etch()

    def give_priorities(self):
        """Share the processors out as the units do.

        Each process is a session, and so a group of its own for the scheduler: the daemon's has
        the weight that its unit gives it, 1500 against the page's 100 (nice -12 is 14.6 to 1, by
        sched(7) from memory). The practice machines stand for hardware with its own processor.
        """
        Path(f"/proc/{self._pid('daemon')}/autogroup").write_text(f"{nice_of(UNIT)}")
        for machine in ("practice machine", "machine"):
            for thread in Path(f"/proc/{self._pid(machine)}/task").iterdir():
                os.sched_setscheduler(int(thread.name), os.SCHED_RR, os.sched_param(1))

    def _pid(self, name):
        return self.household._processes[name].pid

    def starved_reports(self):
        """End the run, which writes how often its planner ran empty, and return that."""
        with PlainClient(self.left.socket) as daemon:
            run = daemon.call("status")["run"]
            assert run["ended"] is None, run["because"]
            daemon.call("stop")
            while daemon.call("status")["state"] != "ended":
                time.sleep(0.05)
            events = daemon.call("run_events", id=run["id"])["events"]
        starved = [event["details"] for event in events if event["kind"] == "starved"]
        return {each["cause"]: each["reports"] for each in starved} or 0

    def page_mb(self, what):
        status = Path(f"/proc/{self._pid('page')}/status").read_text()
        return int(re.search(rf"{what}:\s+(\d+)", status)[1]) / 1000


class Phone:
    """A phone, paired by a code of the command's, that presses *stop* and watches."""

    def __init__(self, shop):
        self.shop = shop
        said = subprocess.run(
            [sys.executable, "-m", "etchwarden", "pair", "--folder", str(shop.kept)],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        self.secret, self.cookie = Store(shop.kept).secret, ""
        code = re.search(r"Type\s+(\d+ \d+)", said)[1]
        form = {"code": code, "form_token": form_token(self.secret, "nobody")}
        _, headers = self.press("/m/left/pair", form)
        self.cookie = re.search(r"etchwarden=[^;]+", headers["Set-Cookie"])[0]
        self.form = {"form_token": form_token(self.secret, token_digest(self.cookie[11:]))}

    def press(self, path, form):
        host = f"127.0.0.1:{self.shop.port}"
        phone = http.client.HTTPConnection(host, timeout=60)
        phone.request(
            "POST", path, urlencode(form),
            {"Origin": f"http://{host}", "Cookie": self.cookie, "Accept": "application/json",
             "Content-Type": "application/x-www-form-urlencoded"},
        )  # fmt: skip
        answer = phone.getresponse()
        answer.read()
        phone.close()
        return answer.status, answer.headers

    def stop_ms(self):
        begun_s = time.monotonic()
        status, _ = self.press("/m/right/stop", self.form)
        # 409: the daemon was asked, and says that nothing runs there.
        assert status in (200, 409), status
        return (time.monotonic() - begun_s) * 1000


def stolen_ms():
    """Return how long others of its host have kept this machine from its processors."""
    stolen = int(Path("/proc/stat").read_text().split()[8])  # proc_stat(5): steal, in ticks
    return stolen * 1000 // os.sysconf("SC_CLK_TCK")


def nice_of(unit):
    return int(NICE.search(unit.read_text())[1])


def crowd(path):
    """Knock at a daemon's socket as often as it takes clients, and say nothing."""
    with ExitStack() as stack:
        for _ in range(CLIENTS_LIMIT):
            knock = stack.enter_context(socket.socket(socket.AF_UNIX))
            knock.connect(str(path))
        return stack.pop_all()


def begin_flood(port, addresses):
    strangers = Path(__file__).with_name("page_strangers.py")
    words = [sys.executable, str(strangers), str(port), str(SECONDS), str(addresses)]
    words = ["chrt", "--idle", "0", *words]  # they stand for computers of their own
    flood = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, start_new_session=True)
    # A policy counts within a session only: the session itself would weigh as much as the page's.
    Path(f"/proc/{flood.pid}/autogroup").write_text("19")
    return flood


@pytest.fixture
def shop(tmp_path):
    with ProcessGroup(tmp_path) as household:
        yield Shop(tmp_path, household)


@pytest.mark.parametrize("addresses", [0, 1, 100], ids=["nobody", "one address", "many"])
def test_a_flood_of_strangers_beside_an_etch(shop, addresses):
    phone = Phone(shop)
    at_rest_ms = sorted(phone.stop_ms() for _ in range(20))
    at_rest_mb = shop.page_mb("VmRSS")
    shop.begin_etch()
    shop.give_priorities()
    flood = begin_flood(shop.port, addresses) if addresses else None

    stops_ms, ends_at_s, before_ms = [], time.monotonic() + SECONDS, stolen_ms()
    while time.monotonic() < ends_at_s:
        with crowd(shop.right / "daemon.sock"), crowd(shop.folder / "left" / "daemon.sock"):
            stops_ms.append(phone.stop_ms())
            time.sleep(PRESS_EVERY_S)
    away_ms = stolen_ms() - before_ms
    begun = json.loads(flood.communicate()[0]) if flood else {}
    most_mb, starved, log = shop.page_mb("VmHWM"), shop.starved_reports(), shop.log
    stops_ms.sort()

    print(f"\n{'strangers from ' + str(addresses) + ' address(es)':<44} {SECONDS:8.0f} s")
    for words, figure in (
        ("attacks begun", ", ".join(f"{name} {times}" for name, times in begun.items())),
        ("stop before, p50 / slowest, ms", f"{_percentile(at_rest_ms, 0.5):.0f} / "
                                           f"{at_rest_ms[-1]:.0f}"),
        ("stops meanwhile", f"{len(stops_ms)}"),
        ("stop meanwhile, p50 / p99 / slowest, ms",
         f"{_percentile(stops_ms, 0.5):.0f} / {_percentile(stops_ms, 0.99):.0f} / "
         f"{stops_ms[-1]:.0f}"),
        ("page resident before, and at the most, MB", f"{at_rest_mb:.1f} / {most_mb:.1f}"),
        ("planner found empty, reports", f"{starved}"),
        ("kept from its processors by its host, ms", f"{away_ms}"),
        ("page's log, bytes (tracebacks)", f"{len(log)} ({log.count('Traceback')})"),
    ):  # fmt: skip
        print(f"{words:<44} {figure}")
