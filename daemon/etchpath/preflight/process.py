"""Preflight in a process of its own: what the daemon starts for every job before it may be armed.

    python -m etchpath.preflight.process JOB.gcode [--machine MACHINE.json|-] [--index INDEX.json]
        [--picture PICTURE.png] [--memory-mb 192]

It lowers its own priority and limits its own memory before numpy is loaded, and prints the
report as one line of JSON. Exit code 0 says that there is a report, whatever its verdict; 1
comes with a sentence on the error stream. The machine may be described on standard input (-);
without a description the sheet beside the G-code tells the head.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from etchwire.child_limits import limit_child

MEMORY_MB: Final = 192  # ten million raster lines take 88
PROCESSOR_S: Final = 600


def main(arguments: Sequence[str] | None = None) -> int:
    """Inspect the file that `arguments` name; return the exit code."""
    wishes = _parser().parse_args(arguments)
    limit_child(memory_mb=wishes.memory_mb, processor_s=PROCESSOR_S)
    # Only now: numpy's threads and memory have to follow the limits.
    from etchpath.errors import EtchpathError  # noqa: PLC0415
    from etchpath.preflight.inspected import inspect_file  # noqa: PLC0415

    try:
        machine = _machine(wishes.machine)
        report = inspect_file(
            wishes.job, machine=machine, index=wishes.index, picture=wishes.picture
        )
    except OSError as error:
        return _failed(f"{error.filename}: {error.strerror}")
    except (EtchpathError, ValueError, MemoryError) as error:
        return _failed(str(error) or "out of memory")
    print(report.to_json())  # noqa: T201 - this is the process's answer
    return 0


def _machine(described: Path | None) -> Any:
    """Return the description: the daemon gives it without a file, which may find no room."""
    if described is None:
        return None
    return json.loads(sys.stdin.buffer.read() if str(described) == "-" else described.read_bytes())


def _failed(reason: str) -> int:
    """Say why there is no report; return the exit code."""
    print(f"The preflight failed: {reason}.", file=sys.stderr)  # noqa: T201
    return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="etchpath.preflight.process")
    parser.add_argument("job", type=Path)
    parser.add_argument("--machine", type=Path)
    parser.add_argument("--index", type=Path)
    parser.add_argument("--picture", type=Path)
    parser.add_argument("--memory-mb", type=int, default=MEMORY_MB)
    return parser


if __name__ == "__main__":
    sys.exit(main())
