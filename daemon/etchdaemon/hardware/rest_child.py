"""The rest of a job, written by a child process."""

from pathlib import Path
from typing import Final

from etchdaemon.errors import JobRefused
from etchdaemon.run.reentry_rules import FileRest
from etchwire.calls.json_values import from_json_value
from etchwire.children.child_process import Cause, ChildFailed, ChildProcess
from etchwire.children.child_program import REMAINDER, Request

_NO_END: Final = "Writing the rest of the job does not come to an end."
_NOT_WRITTEN: Final = "The rest of the job could not be written."


class RestChild:
    """A RestWriter; whoever asks waits."""

    def write(self, job: Path, rest: Path, *, row: int, x_mm: float) -> None:
        """Write to folder `rest` what is left of the job in folder `job`; raise JobRefused."""
        _run({"job": str(job), "rest": str(rest), "row": row, "x_mm": x_mm})

    def resume_file(self, job: Path, rest: Path | None, *, cut: Request) -> FileRest:
        """Return where the rest of another program's job begins, and write it to `rest`."""
        folder = None if rest is None else str(rest)
        return from_json_value(_run({"job": str(job), "rest": folder, "cut": cut}), FileRest)


def _run(request: Request) -> object:
    """Return what the child answers; raise JobRefused with its reason."""
    try:
        return ChildProcess(REMAINDER, request).run()
    except ChildFailed as failure:
        is_late = failure.cause is Cause.DEADLINE_PASSED
        raise JobRefused(_NO_END if is_late else failure.sentence or _NOT_WRITTEN) from None
