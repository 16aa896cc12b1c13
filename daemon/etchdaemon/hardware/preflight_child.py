"""The preflight in a child process: the daemon itself never loads what reads a whole file."""

import json
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Final

from etchdaemon.errors import JobRefused
from etchdaemon.ports import Doorbell

MODULE: Final = "etchpath.preflight.process"
PATIENCE_S: Final = 600.0  # ten million lines take twenty seconds on a desk computer
_SHOWN_CHARACTERS: Final = 300

Report = Mapping[str, Any]
Launch = Callable[[Path], "subprocess.Popen[bytes]"]


def _launch(gcode: Path) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(  # -P: nothing is imported from where we happen to be
        [sys.executable, "-P", "-m", MODULE, gcode, "--machine", "-"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


class PreflightChild:
    """A Preflight with a process for each file, and a thread that waits for it.

    One at a time: beginning another ends the one before. `doorbell` is rung when one is over.
    `launch` starts the process.
    """

    def __init__(
        self, doorbell: Doorbell, *, has_heartbeat_contact: bool, launch: Launch = _launch
    ) -> None:
        self._doorbell = doorbell
        self._has_heartbeat_contact = has_heartbeat_contact
        self._launch = launch
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None
        self._turn = 0

    def begin(self, gcode: Path, machine: Mapping[str, Any]) -> "Future[Report]":
        """Begin to inspect `gcode`; see `ports.Preflight`."""
        found: Future[Report] = Future()
        table = {**machine, "has_heartbeat_contact": self._has_heartbeat_contact}
        turn = self._next_turn()
        threading.Thread(
            target=self._inspect, args=(gcode, table, turn, found), name="preflight", daemon=True
        ).start()
        return found

    def close(self) -> None:
        """End what is being done."""
        self._next_turn()

    def _next_turn(self) -> int:
        with self._lock:
            self._turn += 1
            if self._child is not None:
                self._child.kill()
            return self._turn

    def _inspect(
        self, gcode: Path, table: Mapping[str, Any], turn: int, found: "Future[Report]"
    ) -> None:
        try:
            found.set_result(self._report(gcode, table, turn))
        except JobRefused as refused:
            found.set_exception(refused)
        except Exception as error:  # noqa: BLE001 - whatever it is, the job has not passed
            found.set_exception(JobRefused(f"The job could not be checked: {error}."))
        self._doorbell.ring()

    def _report(self, gcode: Path, table: Mapping[str, Any], turn: int) -> Report:
        child = self._start(gcode, turn)
        try:
            answer, complaint = child.communicate(json.dumps(table).encode(), timeout=PATIENCE_S)
        except subprocess.TimeoutExpired:
            child.kill()
            child.communicate()
            raise JobRefused("The check of the job does not come to an end.") from None
        finally:
            with self._lock:
                self._child = None if self._child is child else self._child
        if child.returncode != 0:
            said = complaint.decode("utf-8", "replace").strip().splitlines()
            told = said[-1][:_SHOWN_CHARACTERS] if said else f"it ended with {child.returncode}"
            raise JobRefused(f"The job could not be checked: {told}")
        report: Report = json.loads(answer)
        return report

    def _start(self, gcode: Path, turn: int) -> "subprocess.Popen[bytes]":
        # Without the lock, for which the loop would wait: a busy system takes its time for this.
        child = self._launch(gcode)
        with self._lock:
            if turn == self._turn:
                self._child = child
                return child
        child.kill()
        child.communicate()
        raise JobRefused("The check of the job was given up.")
