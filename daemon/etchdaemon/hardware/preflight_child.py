"""The preflight in a child process: the daemon itself never loads what reads a whole file."""

import threading
from concurrent.futures import Future
from pathlib import Path
from typing import Final

from etchdaemon.errors import JobRefused
from etchdaemon.ports import Doorbell, PreflightReport
from etchwire.calls.json_values import from_json_value
from etchwire.children.child_process import Cause, ChildFailed, ChildProcess, Launch, launch
from etchwire.children.child_program import PREFLIGHT, Request

_SENTENCES: Final = {
    Cause.DEADLINE_PASSED: "The check of the job does not come to an end.",
    Cause.CANCELLED: "The check of the job was given up.",
}
_LONGEST_REASON: Final = 300  # characters


class PreflightChild:
    """A Preflight with a process for each file, and a thread that waits for it.

    One at a time: beginning another ends the one before. `doorbell` is rung when one is over.
    """

    def __init__(
        self, doorbell: Doorbell, *, has_heartbeat_contact: bool, launch: Launch = launch
    ) -> None:
        self._doorbell = doorbell
        self._has_heartbeat_contact = has_heartbeat_contact
        self._launch = launch
        self._child: ChildProcess | None = None

    def begin(self, gcode: Path, machine: Request) -> "Future[PreflightReport]":
        """Begin to inspect `gcode`; see `ports.Preflight`."""
        self.close()
        found: Future[PreflightReport] = Future()
        table = {**machine, "has_heartbeat_contact": self._has_heartbeat_contact}
        request = {"job": str(gcode), "machine": table}
        self._child = child = ChildProcess(PREFLIGHT, request, launch=self._launch)
        threading.Thread(
            target=self._inspect, args=(child, found), name="preflight", daemon=True
        ).start()
        return found

    def close(self) -> None:
        """End what is being done."""
        if self._child is not None:
            self._child.cancel()

    def _inspect(self, child: ChildProcess, found: "Future[PreflightReport]") -> None:
        try:
            found.set_result(from_json_value(child.run(), PreflightReport))
        except ChildFailed as failure:
            because = f"The job could not be checked: {str(failure)[:_LONGEST_REASON]}"
            found.set_exception(JobRefused(_SENTENCES.get(failure.cause, because)))
        except Exception as error:  # noqa: BLE001 - whatever it is, the job has not passed
            found.set_exception(JobRefused(f"The job could not be checked: {error}."))
        self._doorbell.ring()
