"""The rest of a job, written by a child process."""

import subprocess
import sys
from pathlib import Path
from typing import Final

from etchdaemon.errors import JobRefused

MODULE: Final = "etchpath.reentry_process"
PATIENCE_S: Final = 300.0


class RestChild:
    """A RestWriter; whoever asks waits."""

    def write(self, job: Path, rest: Path, *, row: int, x_mm: float) -> None:
        """Write to folder `rest` what is left of the job in folder `job`; raise JobRefused."""
        place = (f"--row={row}", f"--x-mm={x_mm!r}")
        try:
            child = subprocess.run(
                [sys.executable, "-P", "-m", MODULE, job, rest, *place],
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
