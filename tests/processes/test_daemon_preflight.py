"""The daemon's preflight with its real child process."""

import hashlib
import threading

import pytest

from etchdaemon.errors import JobRefused
from etchdaemon.hardware.preflight_child import PreflightChild
from etchpath.machine import Machine
from etchpath.writer.dots import Order, write_job
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.children.child_process import launch as start
from rig.bench import patch
from rig.memory import NoDoorbell

PATIENCE_S = 60.0
HEAD = PRACTICE_HEADS["practice-20w"]
TABLE = Machine.of_head(HEAD).to_table()


@pytest.fixture
def child():
    made = PreflightChild(NoDoorbell(), has_heartbeat_contact=False)
    yield made
    made.close()


def _gcode(folder, text=None):
    path = folder / "job.gcode"
    if text is not None:
        path.write_bytes(text)
        return path
    order = Order(title="patch", head=HEAD, recipe=PRACTICE_RECIPES["practice-20w"], halftone="no")
    with path.open("wb") as file:
        write_job(patch(20, 50), file, order)
    return path


def test_our_own_job_is_ready(child, tmp_path):
    gcode = _gcode(tmp_path)

    report = child.begin(gcode, TABLE).result(PATIENCE_S)

    assert report.verdict == "ready"
    assert report.gcode_sha256 == hashlib.sha256(gcode.read_bytes()).hexdigest()


@pytest.mark.parametrize(("has_contact", "verdict"), [(False, "refused"), (True, "acknowledge")])
def test_constant_power_is_refused_unless_a_heartbeat_contact_is_wired(
    tmp_path, has_contact, verdict
):
    gcode = _gcode(tmp_path, b"G21G90G94\nM3S0\nG1X10S500F1000\nS0\nM5\nM2\n")
    child = PreflightChild(NoDoorbell(), has_heartbeat_contact=has_contact)

    assert child.begin(gcode, TABLE).result(PATIENCE_S).verdict == verdict


def test_a_file_that_is_gone_is_told_and_not_run(child, tmp_path):
    with pytest.raises(JobRefused, match="could not be checked"):
        child.begin(tmp_path / "gone.gcode", TABLE).result(PATIENCE_S)


def test_a_machine_that_makes_no_sense_is_told(child, tmp_path):
    with pytest.raises(JobRefused, match="max_s"):
        child.begin(_gcode(tmp_path), TABLE | {"max_s": 0.0}).result(PATIENCE_S)


def test_beginning_another_gives_the_first_up(child, tmp_path):
    gcode = _gcode(tmp_path)
    first = child.begin(gcode, TABLE)
    second = child.begin(gcode, TABLE)

    assert second.result(PATIENCE_S).verdict == "ready"
    assert first.exception(PATIENCE_S) is None or isinstance(first.exception(), JobRefused)


def test_nobody_waits_while_a_process_is_being_started(tmp_path):
    is_starting, may_start = threading.Event(), threading.Event()

    def launch(program):
        is_starting.set()
        assert may_start.wait(PATIENCE_S)
        raise JobRefused(f"{program.module} was let go.")

    child = PreflightChild(NoDoorbell(), has_heartbeat_contact=False, launch=launch)
    first = child.begin(tmp_path, TABLE)
    assert is_starting.wait(PATIENCE_S)

    loop = threading.Thread(target=child.begin, args=(tmp_path, TABLE), daemon=True)
    loop.start()
    loop.join(PATIENCE_S / 2)
    has_begun_another = not loop.is_alive()
    may_start.set()

    assert has_begun_another
    assert isinstance(first.exception(PATIENCE_S), JobRefused)


def test_a_check_that_is_given_up_says_so(tmp_path):
    may_start = threading.Event()

    def launch(program):
        assert may_start.wait(PATIENCE_S)
        return start(program)

    child = PreflightChild(NoDoorbell(), has_heartbeat_contact=False, launch=launch)
    found = child.begin(_gcode(tmp_path), TABLE)
    child.close()
    may_start.set()

    with pytest.raises(JobRefused, match="given up"):
        found.result(PATIENCE_S)


def test_whoever_waits_is_rung_for(tmp_path):
    class Bell(NoDoorbell):
        rung = threading.Event()

        def ring(self):
            self.rung.set()

    found = PreflightChild(Bell(), has_heartbeat_contact=False).begin(_gcode(tmp_path), TABLE)

    assert Bell.rung.wait(PATIENCE_S)
    assert found.done()
