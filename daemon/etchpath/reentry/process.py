"""The rest of a job, written in a process of its own, for the daemon.

Request: `job` and `rest`, folders, and either `row` and `x_mm` for a job of ours, or `cut`, the
record of the cut (`etchpath.reentry.file_cut.FileCut`), for one of another program. `rest` gets
`job.gcode` and `job.json`. Result of the latter: `line`, with which the rest begins, and `gap_mm`,
the gap before it; with `rest` null nothing is written.
"""

import sys
from dataclasses import asdict
from pathlib import Path

from etchwire.children.child_program import REMAINDER, OnShare, Request, WorkFailed, serve


def write_remainder(request: Request, _on_share: OnShare) -> dict[str, object] | None:
    """Write what `request` asks for, and return line and gap; raise WorkFailed."""
    from etchpath.errors import EtchpathError  # noqa: PLC0415 - heavy: only once limits hold
    from etchpath.reentry.file_cut import FileCut  # noqa: PLC0415
    from etchpath.reentry.remainder_files import resume_file, write_rest_folder  # noqa: PLC0415
    from etchwire.errors import WireError  # noqa: PLC0415
    from etchwire.storing import fault_of_card  # noqa: PLC0415

    job, rest = Path(request["job"]), request["rest"] and Path(request["rest"])
    try:
        if "cut" in request:
            return asdict(resume_file(job, rest, FileCut.from_table(request["cut"])))
        write_rest_folder(job, rest, row=request["row"], x_mm=request["x_mm"])
    except (EtchpathError, WireError, OSError, ValueError, MemoryError) as error:
        reason = fault_of_card(error) or str(error) or "out of memory"
        raise WorkFailed(f"No re-entry: {reason}.") from error
    return None


if __name__ == "__main__":
    sys.exit(serve(REMAINDER, write_remainder))
