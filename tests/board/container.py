"""A Debian with systemd as its first process, in a container: switched on, used, and cut off.

Its devices and its kernel are this machine's, and so is its loopback: one board at a time. There is
no memory controller in it, so what a unit says about memory does nothing here.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import Final

import pexpect

PATIENCE_S: Final = 120.0
ENVIRONMENT: Final = {
    "PATH": "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin",
    "TERM": "dumb",
    "LANG": "C.UTF-8",
}
BOOTED: Final = ("running", "degraded")


class Container:
    """A board. `root`: its root folder; `log`: what it prints on its console."""

    def __init__(self, root: Path, log: Path) -> None:
        self.root = root
        self._log = log
        self._nspawn: subprocess.Popen[bytes] | None = None
        self._first_process = 0
        self._begun = count(1)

    def switch_on(self) -> None:
        """Boot it, and wait until every unit that starts with it has started or failed."""
        with self._log.open("ab") as log:
            self._nspawn = subprocess.Popen(
                ["systemd-nspawn", "--quiet", "--register=no", "--keep-unit", "-D", self.root,
                 "--machine=board", "--resolv-conf=copy-host", "--link-journal=no", "-b"],
                stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True,
            )  # fmt: skip
        self._wait_for_boot()

    def reboot(self) -> None:
        """Restart it in order: the container ends, and whoever started it starts it again."""
        assert self._nspawn is not None
        self.run("systemctl", "reboot")
        self._end(self._nspawn)
        self.switch_on()

    def switch_off(self) -> None:
        """Shut it down in order."""
        if self._nspawn is None:
            return
        self._nspawn.send_signal(signal.SIGTERM)
        self._end(self._nspawn)

    def cut_off(self) -> None:
        """Kill everything in it at once. What was written is there: the disk is this machine's."""
        if self._nspawn is None:
            return
        os.kill(self._first_process, signal.SIGKILL)
        self._end(self._nspawn)

    def run(self, *command: str, user: str = "root", is_checked: bool = True) -> str:
        """Run a command in it and return what it printed; fail where it ends with an error."""
        done = subprocess.run(
            [*self._inside(user), *command], check=False, capture_output=True, text=True,
            errors="replace", stdin=subprocess.DEVNULL, timeout=PATIENCE_S * 3,
        )  # fmt: skip
        said = done.stdout + done.stderr
        if is_checked:
            assert done.returncode == 0, (
                f"{' '.join(command)} ended with {done.returncode}:\n{said}"
            )
        return said

    def fails(self, *command: str, user: str = "root") -> bool:
        """Return whether a command ends with an error."""
        done = subprocess.run(
            [*self._inside(user), *command],
            check=False,
            capture_output=True,
            stdin=subprocess.DEVNULL,
        )
        return done.returncode != 0

    def begin(self, sentence: str, command: Sequence[str]) -> str:
        """Start a command as a unit of its own, and return its name when it says `sentence`."""
        unit = f"begun-{next(self._begun)}.service"
        self.run("systemd-run", "--quiet", "--collect", f"--unit={unit}", *command)
        journal = ("journalctl", "-u", unit, "-o", "cat", "--no-pager")
        self.until(lambda: sentence in self.run(*journal), f"“{sentence}”")
        return unit

    def cut_command_at(self, sentence: str, command: Sequence[str]) -> None:
        """Start a command and kill it, with all that it started, when it says `sentence`."""
        unit = self.begin(sentence, command)
        self.run("systemctl", "kill", "--signal=SIGKILL", unit, is_checked=False)
        self.until(lambda: not self.is_active(unit), "the end of what was killed")

    def terminal(self, command: str, user: str, folder: str) -> "pexpect.spawn[str]":
        """Type a command at a terminal, as `user` in `folder`."""
        first, *others = self._inside(user)
        typed = f"cd {folder} && {command}"
        return pexpect.spawn(
            first, [*others, "bash", "-c", typed], encoding="utf-8", timeout=PATIENCE_S,
            dimensions=(50, 200),
        )  # fmt: skip

    def path(self, inside: str) -> Path:
        """Return where a file of the running board is, also one in memory, seen from outside."""
        return Path(f"/proc/{self._first_process}/root") / inside.lstrip("/")

    def until(self, holds: Callable[[], object], what: str, patience_s: float = PATIENCE_S) -> None:
        """Wait for something; fail with the journal's end where it does not come."""
        deadline_s = time.monotonic() + patience_s
        while not holds():
            if time.monotonic() > deadline_s:
                raise AssertionError(f"{what} did not come.\n{self.journal()[-6000:]}")
            time.sleep(0.1)

    def journal(self, *options: str) -> str:
        """Return the journal of everything of ours since the board was made."""
        return self.run("journalctl", "--no-pager", "-u", "etchwarden-*", *options)

    def show(self, unit: str, name: str) -> str:
        """Return a property of a unit."""
        return self.run("systemctl", "show", "--value", "-p", name, unit).strip()

    def is_active(self, unit: str) -> bool:
        """Return whether a unit runs."""
        return self.show(unit, "ActiveState") == "active"

    def _inside(self, user: str) -> list[str]:
        home = "/root" if user == "root" else f"/home/{user}"
        words = ["nsenter", "-t", str(self._first_process), "-m", "-u", "-i", "-p", "-C"]
        words += ["env", "-i", f"HOME={home}", *(f"{k}={v}" for k, v in ENVIRONMENT.items())]
        return words if user == "root" else [*words, "runuser", "-u", user, "--"]

    def _wait_for_boot(self) -> None:
        assert self._nspawn is not None
        deadline_s = time.monotonic() + PATIENCE_S
        while True:
            self._first_process = self._child()
            if self._first_process and self._has_booted():
                return
            assert time.monotonic() < deadline_s, self._log.read_text(errors="replace")[-4000:]
            assert self._nspawn.poll() is None, self._log.read_text(errors="replace")[-4000:]
            time.sleep(0.1)

    def _child(self) -> int:
        assert self._nspawn is not None
        pid = self._nspawn.pid
        try:
            children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        except OSError:
            return 0
        return int(children[0]) if children else 0

    def _has_booted(self) -> bool:
        done = subprocess.run(
            [*self._inside("root"), "systemctl", "is-system-running"],
            check=False, capture_output=True, text=True,
        )  # fmt: skip
        return done.stdout.strip() in BOOTED

    def kill(self) -> None:
        """End it in whatever state it is, so that nothing of it outlives a test."""
        if self._nspawn is not None:
            if self._first_process:  # which outlives the program that started it
                with suppress(ProcessLookupError):
                    os.kill(self._first_process, signal.SIGKILL)
            self._nspawn.kill()
            self._nspawn.wait()
            self._nspawn = None

    def _end(self, nspawn: "subprocess.Popen[bytes]") -> None:
        try:
            nspawn.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            sys.stderr.write(self._log.read_text(errors="replace")[-4000:])
            nspawn.kill()
            raise
        self._nspawn = None
