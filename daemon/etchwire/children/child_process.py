"""One run of a child program: started, listened to, given up, and why it came to nothing."""

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from enum import StrEnum
from typing import IO, Final, cast

from etchwire.children.child_program import FAULT_OF_OURS, ChildProgram, OnShare

Launch = Callable[[ChildProgram], "subprocess.Popen[bytes]"]


class Cause(StrEnum):
    """Why a child program gave no result."""

    FAILED = "it said why, in a sentence"
    OUT_OF_MEMORY = "the kernel ended it for memory"
    DEADLINE_PASSED = "it did not come to an end"
    CANCELLED = "it was given up"
    BROKE = "a fault of ours"


# How the kernel ends a child, by the exit code.
_BY_KERNEL: Final = {
    -signal.SIGKILL: Cause.OUT_OF_MEMORY,
    -signal.SIGXCPU: Cause.DEADLINE_PASSED,
}


class ChildFailed(Exception):
    """A child program gave no result.

    `sentence` and `kind` are what it said of that, empty where it ended without a word; `code` is
    its exit code or minus the signal that ended it.
    """

    def __init__(self, cause: Cause, *, sentence: str, kind: str, code: int) -> None:
        super().__init__(sentence or f"it ended with {code}")
        self.cause, self.sentence, self.kind, self.code = cause, sentence, kind, code


def launch(program: ChildProgram) -> "subprocess.Popen[bytes]":
    """Start `program`; its error stream is ours."""
    return subprocess.Popen(  # -P: nothing is imported from where we happen to be
        [sys.executable, "-P", "-m", program.module],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )


class ChildProcess:
    """A `program` with a `request` (plain JSON values), to be run once.

    `launch` starts the process; tests start another one.
    """

    def __init__(
        self, program: ChildProgram, request: Mapping[str, object], *, launch: Launch = launch
    ) -> None:
        self._program, self._request, self._launch = program, request, launch
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._ended_for: Cause | None = None

    @property
    def pid(self) -> int | None:
        """The process's id, None before it is started."""
        return None if self._process is None else self._process.pid

    def run(self, on_share: OnShare = lambda _: None) -> object:
        """Start the program and return its result; raise ChildFailed, or OSError at the start.

        `on_share` hears how far it has come, from 0 to 1. The process is gone at the return: it
        also dies with the thread that runs it (prctl(2), PR_SET_PDEATHSIG).
        """
        # Without the lock, for which `cancel` would wait: a busy system takes its time for this.
        process = self._launch(self._program)
        with self._lock:
            self._process = process
            if self._ended_for is not None:
                process.kill()
        deadline = threading.Timer(
            self._program.deadline_s, self._end, args=(Cause.DEADLINE_PASSED,)
        )
        deadline.daemon = True
        deadline.start()
        try:
            answer = self._converse(process, on_share)
            code = process.wait()
        finally:
            deadline.cancel()
            process.kill()
            process.wait()
        if code == 0 and "result" in answer:
            return answer["result"]
        raise self._failure(code, answer)

    def cancel(self) -> None:
        """Give the work up: a process that runs is ended, and one that is being started too."""
        self._end(Cause.CANCELLED)

    def _end(self, cause: Cause) -> None:
        with self._lock:
            self._ended_for = self._ended_for or cause
            if self._process is not None:
                self._process.kill()

    def _converse(
        self, process: "subprocess.Popen[bytes]", on_share: OnShare
    ) -> Mapping[str, object]:
        """Return the last line of the child's answer, empty where there was none."""
        with cast("IO[bytes]", process.stdout) as lines:
            _tell(process.stdin, {"parent": os.getpid(), "request": self._request})
            last: Mapping[str, object] = {}
            for line in lines:
                said = _answer(line)
                share = said.get("share")
                if isinstance(share, (int, float)):
                    on_share(float(share))
                last = said or last
        return last

    def _failure(self, code: int, answer: Mapping[str, object]) -> ChildFailed:
        kind = str(answer.get("kind", ""))
        sentence = str(answer.get("failed", ""))
        if self._ended_for is not None:
            cause = self._ended_for
        elif sentence and kind != FAULT_OF_OURS:
            cause = Cause.FAILED
        else:
            cause = _BY_KERNEL.get(code, Cause.BROKE)
        return ChildFailed(cause, sentence=sentence, kind=kind, code=code)


def _tell(stdin: IO[bytes] | None, envelope: Mapping[str, object]) -> None:
    with (
        suppress(BrokenPipeError),
        cast("IO[bytes]", stdin) as pipe,
    ):  # it has ended: its exit code says how
        pipe.write(json.dumps(envelope).encode())


def _answer(line: bytes) -> Mapping[str, object]:
    """Return a line of the child's, empty where a library has printed something."""
    try:
        said = json.loads(line)
    except ValueError:
        return {}
    return said if isinstance(said, dict) else {}
