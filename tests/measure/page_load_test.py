"""Twenty phones, a photo preparation and five pages a second beside a streaming daemon.

`pytest -m measure tests/measure/page_load_test.py -s` prints it; ETCHWARDEN_MEASURE_S sets how
long. A practice household in real time serves the page and is looked at for a starved planner;
beside it the daemon's loop feeds the paced cable of `link_cost_test`, where refills can be timed.
Issue 7 asks for no starved planner, refills within 8 ms at p99.9 and no request over a second.
"""

import json
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from etchpath.writer.dots import Order, write_job
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from measure.link_cost_test import (
    PLANNER_LIMIT,
    SECONDS,
    Bench,
    Cable,
    _has_passed,
    _percentile,
    job,  # noqa: F401 - a fixture
)
from rig.bench import patch
from support.harnesses.plain_client import PlainClient
from support.samples.photo_files import PHOTOGRAPHS

pytestmark = pytest.mark.measure

PHOTO = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
ROWS = 400


class Shop:
    """A practice household in real time, in the middle of a large picture, with its page."""

    def __init__(self, folder, household):
        self.folder, self.household = folder, household
        self.session = Session(household, folder)
        self.session.start_machine("--speedup", "1")
        household.start(
            "page", "page", "--daemon", str(folder / "daemon.sock"), "--folder",
            str(folder / "page"), "--port", "0", "--open-to-loopback",
        )  # fmt: skip
        self.session.job.mkdir()
        order = Order(
            title="patch",
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            halftone="none",
        )
        with (self.session.job / GCODE_NAME).open("wb") as file:
            sheet = write_job(patch(ROWS, 1000), file, order)
        (self.session.job / SHEET_NAME).write_text(sheet.to_json())
        household.wait_until(lambda: re.search(r":\d+/", self._said()))
        self.port = int(re.search(r":(\d+)/", self._said())[1])
        self.session.begin_etch()

    def starved_reports(self):
        """End the run, which writes how often its planner ran empty, and return that."""
        with PlainClient(self.session.socket) as daemon:
            run = daemon.call("status")["run"]
            assert run["ended"] is None, run["because"]
            daemon.call("stop")
            while daemon.call("status")["state"] != "ended":
                time.sleep(0.05)
            events = daemon.call("run_events", id=run["id"])["events"]
        return sum(event["details"]["reports"] for event in events if event["kind"] == "starved")

    def resident_mb(self):
        pid = self.household._processes["page"].pid
        status = Path(f"/proc/{pid}/status").read_text()
        return int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1000

    def _said(self):
        return (self.folder / "page.log").read_text()


@pytest.fixture
def shop(tmp_path):
    folder = tmp_path / "shop"
    folder.mkdir()
    with ProcessGroup(folder) as household:
        yield Shop(folder, household)


def start_load(port, folder):
    phones = [sys.executable, str(Path(__file__).with_name("page_phones.py")), str(port)]
    prepare = [sys.executable, "-m", "etchwarden", "prepare", str(PHOTO), "-o", str(folder / "p"),
               "--width", "180"]  # fmt: skip
    return (
        subprocess.Popen([*phones, str(SECONDS)], stdout=subprocess.PIPE, text=True),
        subprocess.Popen(["nice", "-n", "10", *prepare], stdout=subprocess.DEVNULL),
    )


def test_a_full_house_beside_a_streaming_daemon(tmp_path, shop, job):  # noqa: F811
    cable = Cable(PLANNER_LIMIT)
    bench = Bench(tmp_path, cable)
    bench.start(job)
    bench.run_until(lambda: _has_passed(bench, 1.0))
    at_rest_mb = shop.resident_mb()

    phones, preparation = start_load(shop.port, tmp_path)
    bench.run_until(lambda: _has_passed(bench, 1.0 + SECONDS))
    assert bench.is_streaming(), bench.commands.snapshot().sentence
    bench.service.close()
    seen = cable.cut()
    told = json.loads(phones.communicate()[0])
    preparation.communicate()
    loaded_mb, starved = shop.resident_mb(), shop.starved_reports()

    asked, refills_ms = told["asked_ms"], [one * 1000 for one in seen["refills_s"]]
    print(f"\n{'twenty phones, one preparation, 5 pages/s':<44} {SECONDS:8.0f} s")
    for words, figure in (
        ("planner found empty, reports", f"{starved}"),
        ("refills", f"{len(refills_ms)}"),
        ("refill p50 / p99 / p99.9, ms", " / ".join(
            f"{_percentile(refills_ms, share):.2f}" for share in (0.5, 0.99, 0.999)
        )),
        ("requests (not answered)", f"{len(asked)} ({told['not_answered']})"),
        ("request p50 / p99 / slowest, ms", f"{_percentile(asked, 0.5):.0f} / "
                                            f"{_percentile(asked, 0.99):.0f} / {asked[-1]:.0f}"),
        ("live bytes/s a phone, least / most", f"{told['bytes_per_s'][0]:.0f} / "
                                               f"{told['bytes_per_s'][-1]:.0f}"),
        ("page resident before / after, MB", f"{at_rest_mb:.1f} / {loaded_mb:.1f}"),
    ):  # fmt: skip
        print(f"{words:<44} {figure:>26}")
