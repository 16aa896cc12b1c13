"""Preflight in a process of its own: what the daemon starts for every job before it may be armed.

Request: `job`, the path of the G-code, and `machine`, the description of the machine
(`etchpath.machine.Machine.to_table`). Result: the report, whatever its verdict
(`etchpath.preflight.report.Report.to_table`).
"""

import sys
from pathlib import Path

from etchwire.children.child_program import PREFLIGHT, OnShare, Request, WorkFailed, serve


def inspect_job(request: Request, _on_share: OnShare) -> dict[str, object]:
    """Return the report on the job of `request` as a plain table; raise WorkFailed."""
    from etchpath.errors import EtchpathError  # noqa: PLC0415 - heavy: only once limits hold
    from etchpath.preflight.inspected import inspect_file  # noqa: PLC0415

    try:
        return inspect_file(Path(request["job"]), machine=request["machine"]).to_table()
    except OSError as error:
        reason = f"{error.filename}: {error.strerror}"
    except (EtchpathError, ValueError, MemoryError) as error:
        reason = str(error) or "out of memory"
    raise WorkFailed(f"The preflight failed: {reason}.")


if __name__ == "__main__":
    sys.exit(serve(PREFLIGHT, inspect_job))
