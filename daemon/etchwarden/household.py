"""Processes that are started together and ended together, each with a log of its own."""

import ctypes
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Final, Self

_PR_SET_PDEATHSIG: Final = 1  # linux/prctl.h
_PATIENCE_S: Final = 5.0


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
class Household:
    """The processes of one practice session; leaving the `with` block ends every one of them.

    They also end when this process dies without a word: Linux sends each of them SIGTERM.
    """

    folder: Path
    _processes: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    def start(self, name: str, *arguments: str) -> None:
        """Start `etchwarden ARGUMENTS` and call it `name` in messages."""
        with self._log(name).open("wb") as log:
            self._processes[name] = subprocess.Popen(
                [sys.executable, "-m", "etchwarden", *arguments],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,  # Ctrl-C comes to us alone, and we end them in order
                preexec_fn=_die_with(os.getpid()),  # noqa: PLW1509 - no thread runs yet
            )

    def ended(self) -> Ended | None:
        """Return the first process found to have ended, if any has."""
        for name, process in self._processes.items():
            code = process.poll()
            if code is not None:
                return Ended(name, code, self._last_words(name))
        return None

    def end(self) -> None:
        """End every process, the last started first; kill what does not go by itself."""
        for process in reversed(self._processes.values()):
            process.terminate()
            try:
                process.wait(_PATIENCE_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def __enter__(self) -> Self:
        """Return the household, still empty."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End every process."""
        self.end()

    def _log(self, name: str) -> Path:
        return self.folder / f"{name.replace(' ', '-')}.log"

    def _last_words(self, name: str) -> str:
        lines = self._log(name).read_text(errors="replace").split("\n")
        return next((line.strip() for line in reversed(lines) if line.strip()), "")


def _die_with(parent: int) -> Callable[[], None]:
    """Return what a child does first: ask for SIGTERM when `parent` dies."""
    c_library = ctypes.CDLL(None)

    def ask() -> None:
        c_library.prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)
        if os.getppid() != parent:  # it died before we could ask
            os._exit(1)

    return ask
