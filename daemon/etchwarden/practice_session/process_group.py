"""Processes that are started together and ended together, each with a log of its own."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Final, NoReturn

import click

from etchwire.children.child_limits import die_with_parent
from etchwire.errors import DaemonAbsent

START_PATIENCE_S: Final = 60.0  # on a busy computer half of that was seen
_PATIENCE_S: Final = 5.0
_LOOK_EVERY_S: Final = 0.1
# What must not wait for others: the daemon as its unit has it, and the machine, which is no program
# at all. At many times its speed the machine keeps a core busy, so it comes after the daemon.
_NICE_IN_REAL_TIME: Final = {"daemon": -12, "machine": -8}
_LAST_BREATH_S: Final = 2.0  # a process's socket closes a moment before it has ended


@dataclass(frozen=True, slots=True)
class Ended:
    """One of the processes is no longer there."""

    name: str
    code: int
    last_words: str

    def __str__(self) -> str:
        """Return the sentence that tells a person what happened."""
        if self.code < 0:
            how = f"was killed by {signal.Signals(-self.code).name}"
        else:
            how = f"ended with exit code {self.code}"
        words = f" Its last words: {self.last_words}" if self.last_words else ""
        return f"The {self.name} {how}.{words}"


@dataclass(slots=True)
class ProcessGroup(AbstractContextManager["ProcessGroup"]):
    """The processes of one practice session; leaving the `with` block ends every one of them.

    They also end when this process dies without a word: Linux sends each of them SIGTERM.
    """

    folder: Path
    _processes: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    def start(self, name: str, *arguments: str) -> None:
        """Start `etchwarden ARGUMENTS` and call it `name` in messages.

        Raise ClickException where one of that name runs: it would be lost sight of.
        """
        if name in self._processes and self._processes[name].poll() is None:
            raise click.ClickException(f"The {name} runs already.")
        with self._log(name).open("wb") as log:
            self._processes[name] = subprocess.Popen(
                [sys.executable, "-m", "etchwarden", *arguments],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,  # Ctrl-C comes to us alone, and we end them in order
                preexec_fn=partial(die_with_parent, os.getpid(), signal.SIGTERM),  # noqa: PLW1509 - no thread runs yet
            )
        let_come_first(self._processes[name].pid, arguments[0])

    def send(self, name: str, number: signal.Signals) -> None:
        """Send one of the processes a signal; who is killed so is not missed afterwards."""
        process = self._processes[name]
        process.send_signal(number)
        if number is signal.SIGKILL:
            del self._processes[name]
            process.wait()

    def wait_for_end_or(self, name: str, is_there: Callable[[], bool]) -> str | None:
        """Wait until `is_there`, or a process has ended: return all that it said then.

        Who ended so is not missed afterwards. Raise ClickException when time is up.
        """
        deadline_s = time.monotonic() + START_PATIENCE_S
        while not is_there():
            if self._processes[name].poll() is not None:
                del self._processes[name]
                return self._log(name).read_text(errors="replace")
            _require_time(deadline_s)
            time.sleep(_LOOK_EVERY_S)
        return None

    def ended(self) -> Ended | None:
        """Return the first process found to have ended, if any has."""
        for name, process in self._processes.items():
            code = process.poll()
            if code is not None:
                return Ended(name, code, self._last_words(name))
        return None

    def require_all(self) -> None:
        """Raise ClickException, with a sentence, when one of the processes has ended."""
        ended = self.ended()
        if ended is not None:
            raise click.ClickException(f"{ended} Everything else was switched off.")

    def wait_until(self, is_there: Callable[[], bool]) -> None:
        """Wait until `is_there`; raise ClickException when a process ends or time is up."""
        deadline_s = time.monotonic() + START_PATIENCE_S
        while not is_there():
            self.require_all()
            _require_time(deadline_s)
            time.sleep(_LOOK_EVERY_S)

    def stay(self) -> NoReturn:
        """Wait for one of the processes to end, which raises ClickException."""
        while True:
            self.require_all()
            time.sleep(_LOOK_EVERY_S)

    @contextmanager
    def blaming_who_ended(self) -> Iterator[None]:
        """When somebody no longer answers, say which process has ended, if one has."""
        try:
            yield
        except DaemonAbsent:
            deadline_s = time.monotonic() + _LAST_BREATH_S
            while time.monotonic() < deadline_s:
                self.require_all()
                time.sleep(_LOOK_EVERY_S)
            raise

    def end(self) -> None:
        """End every process, the last started first; kill what does not go by itself."""
        for process in reversed(self._processes.values()):
            process.terminate()
            process.send_signal(signal.SIGCONT)  # one that was stopped hears of its end only so
            try:
                process.wait(_PATIENCE_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def __exit__(self, *_error: object) -> None:
        """End every process."""
        self.end()

    def _log(self, name: str) -> Path:
        return self.folder / f"{name.replace(' ', '-')}.log"

    def _last_words(self, name: str) -> str:
        lines = self._log(name).read_text(errors="replace").split("\n")
        return next((line.strip() for line in reversed(lines) if line.strip()), "")


def let_come_first(process_id: int, command: str) -> None:
    """Give a process that runs in real time the processor before others; root alone may.

    `command` is the one of ours that it runs, in a session of its own.
    """
    nice = _NICE_IN_REAL_TIME.get(command)
    if nice is None:
        return
    with suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, process_id, nice)
        # Its session is one group to the scheduler, and only within a group its priority counts.
        Path(f"/proc/{process_id}/autogroup").write_text(str(nice))


def _require_time(deadline_s: float) -> None:
    if time.monotonic() > deadline_s:
        raise click.ClickException("The practice machine was not ready in time; try again.")
