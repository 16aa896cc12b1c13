"""What the page says of the check before a job runs: pure, findings in, words out."""

from typing import Final

from etchweb.text.formatting import as_sentence
from etchweb.text.view import View
from etchwire.calls.snapshot import JobView
from etchwire.preflight_finding import FindingView

NO_PREFLIGHT: Final[View] = {"checked": "", "checking": "", "findings": [], "to_read": []}


def preflight_part(job: JobView | None) -> View:
    """Return the page's entries about the check of the job that is loaded."""
    if job is None:
        return {}
    found = job.preflight
    return {
        "checked": as_sentence(found.sentence),
        "checking": found.verdict,
        "findings": [_finding(finding) for finding in found.findings],
        "to_read": [
            {"kind": finding.kind, "words": _finding(finding)}
            for finding in found.findings
            if finding.kind in found.to_acknowledge
        ],
    }


def _finding(finding: FindingView) -> str:
    place = "" if finding.line is None else f"Line {finding.line}: "
    return as_sentence(f"{place}{finding.reason} {finding.fix}".strip())
