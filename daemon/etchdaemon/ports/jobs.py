"""What is done to jobs away from the loop."""

from collections.abc import Mapping
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Protocol


class Preflight(Protocol):
    """Inspects prepared files, away from the loop."""

    def begin(self, gcode: Path, machine: Mapping[str, Any]) -> "Future[Mapping[str, Any]]":
        """Begin to inspect `gcode` for the machine described, and return at once.

        The future gets the report as plain JSON values, or JobRefused with why there is none.
        What was begun before is given up.
        """
        ...


class RestWriter(Protocol):
    """Writes what is left of a job that was cut short."""

    def write(self, job: Path, rest: Path, *, row: int, x_mm: float) -> None:
        """Write to folder `rest` what is left of the job in folder `job`; raise JobRefused."""
        ...

    def resume_file(
        self, job: Path, rest: Path | None, *, cut: Mapping[str, Any]
    ) -> Mapping[str, Any]:
        """Return `line` and `gap_mm` of the rest of another program's job; raise JobRefused.

        It is written to folder `rest`, unless that is None.
        """
        ...
