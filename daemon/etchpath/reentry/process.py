"""The rest of a job, written in a process of its own.

    python -m etchpath.reentry.process JOB_FOLDER REST_FOLDER --row ROW --x-mm X
    python -m etchpath.reentry.process JOB_FOLDER [REST_FOLDER] --cut CUT
    python -m etchpath.reentry.process FILE.gcode REST.gcode --line LINE [--index INDEX.json]
        [--machine MACHINE.json]

The first is for our own jobs: REST_FOLDER gets `job.gcode` and `job.json`. The second is for jobs
of other programs, CUT being the record's as JSON: it prints the line the rest begins with and the
gap before it, and without REST_FOLDER does no more. The third is for any other file. Exit code 0
says that it is done; 1 comes with a sentence on the error stream.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Final

from etchwire.child_limits import limit_child

MEMORY_MB: Final = 192  # ten million raster lines take 88
PROCESSOR_S: Final = 600


def main(arguments: Sequence[str] | None = None) -> int:
    """Write what `arguments` ask for; return the exit code."""
    parser = _parser()
    wishes = parser.parse_args(arguments)
    if wishes.rest is None and wishes.cut is None:
        parser.error("say where the rest is to be written")
    limit_child(memory_mb=wishes.memory_mb, processor_s=PROCESSOR_S)
    # Only now: numpy's threads and memory have to follow the limits.
    from etchpath.errors import EtchpathError  # noqa: PLC0415
    from etchpath.reentry.file_cut import FileCut  # noqa: PLC0415
    from etchpath.reentry.remainder_files import resume_file, write_rest_file, write_rest_folder  # noqa: PLC0415
    from etchwire.errors import WireError  # noqa: PLC0415
    from etchwire.storing import fault_of_card  # noqa: PLC0415

    try:
        if wishes.cut is not None:
            cut = FileCut.from_table(json.loads(wishes.cut))
            print(json.dumps(asdict(resume_file(wishes.job, wishes.rest, cut))))  # noqa: T201
        elif wishes.line is None:
            write_rest_folder(wishes.job, wishes.rest, row=wishes.row, x_mm=wishes.x_mm)
        else:
            write_rest_file(
                wishes.job,
                wishes.rest,
                line=wishes.line,
                index=wishes.index,
                machine=wishes.machine,
            )
    except (EtchpathError, WireError, OSError, ValueError, MemoryError) as error:
        told = fault_of_card(error) or str(error) or "out of memory"
        print(f"No re-entry: {told}.", file=sys.stderr)  # noqa: T201
        return 1
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="etchpath.reentry.process")
    parser.add_argument("job", type=Path)
    parser.add_argument("rest", type=Path, nargs="?")
    parser.add_argument("--cut")
    parser.add_argument("--row", type=int, default=0)
    parser.add_argument("--x-mm", type=float, default=float("nan"))
    parser.add_argument("--line", type=int)
    parser.add_argument("--index", type=Path)
    parser.add_argument("--machine", type=Path)
    parser.add_argument("--memory-mb", type=int, default=MEMORY_MB)
    return parser


if __name__ == "__main__":
    sys.exit(main())
