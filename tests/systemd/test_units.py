"""The units are sound and locked up, as systemd itself judges them."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from etchdaemon.hardware.watchdog import FEED_EVERY_S
from etchdaemon.logbook.logbook import CONFIRM_TIMEOUT_S
from etchphoto.decoder.cost import MOST_BYTES

UNITS = Path(__file__).resolve().parents[2] / "systemd"
NAMES = ("etchwarden-daemon@.service", "etchwarden-web.service")
# Exposure by `systemd-analyze security`, 0 to 10; what each unit may need at the most.
MOST_EXPOSED = {"etchwarden-daemon@.service": 0.7, "etchwarden-web.service": 1.1}


@pytest.fixture
def analyze():
    if shutil.which("systemd-analyze") is None and not os.environ.get("CI"):
        pytest.skip("needs systemd-analyze, which is not installed")

    def analyze(*arguments):
        done = subprocess.run(
            ["systemd-analyze", *map(str, arguments)], capture_output=True, text=True, check=False
        )
        return done.stdout + done.stderr

    return analyze


@pytest.fixture
def root(tmp_path):
    """A tree in which the units are installed, with programs that are really there."""
    programs = tmp_path / "opt/etchwarden/current/bin"
    programs.mkdir(parents=True)
    for name in ("etchwarden", "etchwarden-safe"):
        (programs / name).write_text("#!/bin/sh\n")
        (programs / name).chmod(0o755)
    units = tmp_path / "etc/systemd/system"
    units.mkdir(parents=True)
    for name in NAMES:
        shutil.copy(UNITS / name, units / name.replace("@", "@left"))
        shutil.copy(UNITS / name, units)
    shutil.copytree("/lib/systemd/system", tmp_path / "lib/systemd/system", symlinks=True)
    return tmp_path


@pytest.mark.parametrize("name", NAMES)
def test_systemd_finds_no_fault_in_a_unit(analyze, root, name):
    complaints = [
        line
        for line in analyze("verify", f"--root={root}", name.replace("@", "@left")).splitlines()
        if "etchwarden" in line
    ]

    assert complaints == []


@pytest.mark.parametrize("name", NAMES)
def test_a_unit_exposes_no_more_than_it_needs(analyze, name):
    said = analyze("security", "--offline=true", UNITS / name)

    found = re.search(r"Overall exposure level for \S+: (\d+\.\d)", said)
    assert found, said
    assert float(found.group(1)) <= MOST_EXPOSED[name]


@pytest.mark.parametrize("name", NAMES)
def test_a_unit_outlives_its_children_and_is_ended_where_it_hangs(name):
    """No memory controller is delegated to the machines that test this: the lines are all there is.

    systemd.service(5): the default OOMPolicy= stops the unit with the child.
    """
    lines = (UNITS / name).read_text().splitlines()

    assert "OOMPolicy=continue" in lines
    assert "Type=notify" in lines
    assert any(re.fullmatch(r"WatchdogSec=\d+", line) for line in lines)


def test_the_daemons_watchdog_waits_longer_than_its_loop_ever_does():
    """The loop waits for the logbook at a start and a resume, and feeds once a second at most."""
    lines = (UNITS / "etchwarden-daemon@.service").read_text().splitlines()

    (limit_s,) = (int(line[12:]) for line in lines if line.startswith("WatchdogSec="))

    assert limit_s > CONFIRM_TIMEOUT_S + FEED_EVERY_S


def test_the_page_and_the_largest_photo_fit_the_memory_of_the_unit():
    """45 MB at rest and 30 MB of libraries: measured, `page_cost_test` and `photo_cost_test`."""
    lines = (UNITS / "etchwarden-web.service").read_text().splitlines()

    (most_mb,) = (int(line[10:-1]) for line in lines if line.startswith("MemoryMax="))

    assert most_mb * 1024**2 > MOST_BYTES + 75_000_000
    assert not any(line.startswith("MemoryHigh=") for line in lines)


def test_the_page_is_one_for_all_machines_and_reads_one_file():
    unit = (UNITS / "etchwarden-web.service").read_text()

    assert "%i" not in unit
    assert "--settings /etc/etchwarden/page.toml" in unit


@pytest.mark.parametrize("driver", ["usbserial", "cdc_acm"])
def test_drivers_are_loaded_before_the_device_list_is_read(driver):
    assert driver in (UNITS / "etchwarden.modules-load.conf").read_text().split()


def test_the_daemons_children_may_lower_their_priority_and_load_numpy():
    """Both calls stand in @resources, which is blocked; a blocked call kills the child."""
    unit = (UNITS / "etchwarden-daemon@.service").read_text()

    filters = re.findall(r"^SystemCallFilter=(.*)$", unit, re.MULTILINE)

    blocked = next(at for at, line in enumerate(filters) if line.startswith("~"))
    assert {"setpriority", "mbind"} <= set(" ".join(filters[blocked + 1 :]).split())
