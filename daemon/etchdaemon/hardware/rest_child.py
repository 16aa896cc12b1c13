"""The rest of a job, written by a child process."""

import json
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from etchdaemon.errors import JobRefused

MODULE: Final = "etchpath.reentry.process"
PATIENCE_S: Final = 300.0


class RestChild:
    """A RestWriter; whoever asks waits."""

    def write(self, job: Path, rest: Path, *, row: int, x_mm: float) -> None:
        """Write to folder `rest` what is left of the job in folder `job`; raise JobRefused."""
        _run(job, rest, f"--row={row}", f"--x-mm={x_mm!r}")

    def resume_file(
        self, job: Path, rest: Path | None, *, cut: Mapping[str, Any]
    ) -> Mapping[str, Any]:
        """Return line and gap of the rest of another program's job, and write it to `rest`."""
        folders = (job,) if rest is None else (job, rest)
        found: Mapping[str, Any] = json.loads(_run(*folders, "--cut", json.dumps(cut)))
        return found


def _run(*arguments: Path | str) -> bytes:
    """Return what the child says; raise JobRefused with its reason."""
    try:
        child = subprocess.run(
            [sys.executable, "-P", "-m", MODULE, *arguments],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
            timeout=PATIENCE_S,
        )
    except subprocess.TimeoutExpired:
        raise JobRefused("Writing the rest of the job does not come to an end.") from None
    if child.returncode != 0:
        said = child.stderr.decode("utf-8", "replace").strip().splitlines()
        raise JobRefused(said[-1] if said else "The rest of the job could not be written.")
    return child.stdout
