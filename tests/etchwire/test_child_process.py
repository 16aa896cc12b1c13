"""A child program as its parent sees it: result, progress, and every way to come to nothing."""

import os
import select
import signal
import subprocess
import sys
import threading
from dataclasses import replace

import pytest

from etchwire.children.child_process import Cause, ChildFailed, ChildProcess, launch
from etchwire.children.child_program import ChildProgram

PATIENCE_S = 60.0
PROGRAM = ChildProgram(module="child", memory_mb=64, deadline_s=PATIENCE_S)
SERVE = """
import sys, time
from etchwire.children.child_program import ChildProgram, WorkFailed, serve
def work(request, on_share):
    {}
sys.exit(serve(ChildProgram(module="child", memory_mb=64, deadline_s=60.0), work))
"""


def launched(program):
    """Return what starts a Python `program` in the place of a module, its pipes as they are."""
    return lambda _: subprocess.Popen(
        [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )


def child(work, request=(), of=PROGRAM):
    return ChildProcess(of, dict(request), launch=launched(SERVE.format(work)))


def failure(work):
    with pytest.raises(ChildFailed) as failed:
        child(work).run()
    return failed.value


def test_a_child_gets_its_request_and_answers():
    assert child("return {**request, 'n': 2}", {"job": "ä"}).run() == {"job": "ä", "n": 2}


def test_a_child_says_how_far_it_has_come():
    shares = []

    child("on_share(0.25); print('a library says'); print('[1]'); on_share(2 / 3)").run(
        shares.append
    )

    assert shares == [0.25, 0.667]


def test_what_a_child_refuses_comes_back_as_its_sentence():
    failed = failure("raise WorkFailed('It is too large.', 'TooLarge')")

    assert (failed.cause, str(failed), failed.kind) == (
        Cause.FAILED,
        "It is too large.",
        "TooLarge",
    )


def test_a_fault_of_ours_is_told_and_leaves_its_traceback(capfd):
    failed = failure("1 / 0")

    assert (failed.cause, str(failed)) == (Cause.BROKE, "ZeroDivisionError: division by zero")
    assert "Traceback" in capfd.readouterr().err


@pytest.mark.parametrize("asked", [b"", b'{"parent": 1, "requ'], ids=["nothing", "half of it"])
def test_a_child_whose_parent_was_killed_while_asking_ends_without_complaint(asked, capfd):
    with launched(SERVE.format("return 1"))(PROGRAM) as process:
        said, _ = process.communicate(asked, timeout=PATIENCE_S)

    assert (process.returncode, said) == (1, b"")
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    ("number", "cause"),
    [
        (signal.SIGKILL, Cause.OUT_OF_MEMORY),  # what the kernel sends for memory
        (signal.SIGXCPU, Cause.DEADLINE_PASSED),
        (signal.SIGSEGV, Cause.BROKE),
    ],
)
def test_a_child_that_is_ended_by_a_signal_gives_the_cause(number, cause):
    failed = failure(f"import os; os.kill(os.getpid(), {int(number)})")

    assert (failed.cause, failed.code) == (cause, -number)
    assert str(failed) == f"it ended with {-number}"


def test_a_child_may_not_write_to_more_memory_than_its_program_says():
    assert "MemoryError" in str(failure("bytearray(64 << 20)"))


def test_a_child_that_is_not_there_is_a_fault_of_ours(capfd):
    with pytest.raises(ChildFailed) as failed:
        ChildProcess(replace(PROGRAM, module="etchwire.nothing_of_that_name"), {}).run()

    assert (failed.value.cause, failed.value.sentence) == (Cause.BROKE, "")
    assert "nothing_of_that_name" in capfd.readouterr().err


def test_a_child_imports_nothing_from_where_its_parent_happens_to_be(tmp_path, monkeypatch, capfd):
    (tmp_path / "stranger.py").write_text('print(\'{"result": "mine"}\')')
    monkeypatch.chdir(tmp_path)

    with pytest.raises(ChildFailed):
        ChildProcess(replace(PROGRAM, module="stranger"), {}).run()

    assert "No module named stranger" in capfd.readouterr().err


def test_a_child_past_its_deadline_is_ended():
    late = child("time.sleep(600)", of=replace(PROGRAM, deadline_s=0.0))

    with pytest.raises(ChildFailed) as failed:
        late.run()

    assert (failed.value.cause, failed.value.code) == (Cause.DEADLINE_PASSED, -signal.SIGKILL)


def test_a_child_that_works_is_ended_once_it_is_given_up():
    given_up = child("on_share(0.5); time.sleep(600)")

    with pytest.raises(ChildFailed) as failed:
        given_up.run(lambda _: given_up.cancel())

    assert failed.value.cause is Cause.CANCELLED


def test_giving_up_does_not_wait_for_a_child_that_is_being_started():
    is_starting, may_start, started = threading.Event(), threading.Event(), []

    def late(_program):
        is_starting.set()
        assert may_start.wait(PATIENCE_S)
        started.append(launched("import time; time.sleep(600)")(_program))
        return started[0]

    given_up, failed = ChildProcess(PROGRAM, {}, launch=late), []

    def run():
        try:
            given_up.run()
        except ChildFailed as failure:
            failed.append(failure.cause)

    runner = threading.Thread(target=run, daemon=True)
    runner.start()
    assert is_starting.wait(PATIENCE_S)
    given_up.cancel()
    may_start.set()
    runner.join(PATIENCE_S)

    assert failed == [Cause.CANCELLED]
    assert started[0].returncode == -signal.SIGKILL


def test_a_listener_that_fails_leaves_no_child():
    process = child("on_share(0.5); time.sleep(600)")

    with pytest.raises(ZeroDivisionError):
        process.run(lambda share: share // 0)

    with pytest.raises(ProcessLookupError):
        os.kill(process.pid, 0)


def test_a_child_does_not_outlive_who_started_it():
    served = SERVE.format("import os; on_share(os.getpid()); time.sleep(600)")
    program = (
        "import subprocess, sys\n"
        "from etchwire.children.child_process import ChildProcess\n"
        "from etchwire.children.child_program import PREFLIGHT\n"
        "def launch(_):\n"
        f"    command = [sys.executable, '-c', {served!r}]\n"
        "    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)\n"
        "ChildProcess(PREFLIGHT, {}, launch=launch).run(lambda pid: print(int(pid), flush=True))\n"
    )
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE) as parent:
        worker = os.pidfd_open(int(parent.stdout.readline()))
        was_there = not select.select([worker], [], [], 0)[0]

        parent.kill()

    is_gone = select.select([worker], [], [], PATIENCE_S)[0]
    os.close(worker)
    assert was_there
    assert is_gone


@pytest.mark.parametrize("program", ["pass", "import sys; sys.stdin.read(); print('{')"])
def test_a_program_that_does_not_answer_is_a_fault_of_ours(program):
    with pytest.raises(ChildFailed, match="it ended with 0") as failed:
        ChildProcess(PROGRAM, {"large": "x" * 1_000_000}, launch=launched(program)).run()

    assert failed.value.cause is Cause.BROKE


def test_a_started_program_is_python_isolated_from_its_folder():
    with launch(replace(PROGRAM, module="json.tool")) as process:
        process.kill()

    assert process.args == [sys.executable, "-P", "-m", "json.tool"]
