"""What is done to jobs away from the loop."""

from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from etchdaemon.run.reentry_rules import FileRest
from etchwire.preflight_finding import FindingView
from etchwire.transport.json_text import JsonTable


@dataclass(frozen=True, slots=True, kw_only=True)
class PreflightReport:
    """What of a preflight's report decides whether the job may run; gravest findings first."""

    verdict: str
    gcode_sha256: str
    findings: tuple[FindingView, ...]


class Preflight(Protocol):
    """Inspects prepared files, away from the loop."""

    def begin(self, gcode: Path, machine: JsonTable) -> "Future[PreflightReport]":
        """Begin to inspect `gcode` for the machine described, and return at once.

        The future gets the report, or JobRefused with why there is none.
        What was begun before is given up.
        """
        ...


class RestWriter(Protocol):
    """Writes what is left of a job that was cut short."""

    def write(self, job: Path, rest: Path, *, row: int, x_mm: float) -> None:
        """Write to folder `rest` what is left of the job in folder `job`; raise JobRefused."""
        ...

    def resume_file(self, job: Path, rest: Path | None, *, cut: JsonTable) -> FileRest:
        """Return where the rest of another program's job begins; raise JobRefused.

        It is written to folder `rest`, unless that is None.
        """
        ...
