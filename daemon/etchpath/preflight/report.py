"""The outcome of a preflight, as values and as the JSON that command, page and daemon read."""

import json
from dataclasses import asdict, dataclass

from etchwire.preflight_finding import FindingView
from etchwire.transport.json_text import JsonTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What a file is and will do on one machine.

    `bounds_mm` is everywhere the head goes, `burnt_mm` where the beam is on, each None for
    nothing. `beam` holds speeds and power while the beam is on (preflight.totals). Of a file that
    was tidied all this is about the copy that is sent; lines are numbered as in the original.
    """

    verdict: str
    findings: tuple[FindingView, ...]
    duration_s: float
    beam_on_s: float
    beam_on_mm: float
    bounds_mm: dict[str, float] | None
    burnt_mm: dict[str, float] | None
    beam: JsonTable
    lines: int
    gcode_bytes: int
    gcode_sha256: str
    has_reentry: bool
    needed_bytes_per_s: float
    carried_bytes_per_s: float
    machine: JsonTable
    tidied_lines: int = 0
    original_sha256: str = ""

    def to_table(self) -> dict[str, object]:
        """Return the plain table that goes into JSON."""
        return asdict(self)

    def to_json(self) -> str:
        """Return the report as JSON text."""
        return json.dumps(self.to_table(), allow_nan=False)
