"""What the page says of the check before a job runs: pure, findings in, words out."""

from collections.abc import Mapping
from typing import Any, Final

from etchweb.text.figures import View
from etchweb.text.formatting import as_sentence

NO_PREFLIGHT: Final[View] = {"checked": "", "checking": "", "findings": [], "to_read": []}


def preflight_part(job: Mapping[str, Any] | None) -> View:
    """Return the page's entries about the check of the job that is loaded."""
    found = None if job is None else job.get("preflight")
    if found is None:
        return {}
    return {
        "checked": as_sentence(found["sentence"]),
        "checking": found["verdict"],
        "findings": [_finding(finding) for finding in found["findings"]],
        "to_read": [
            {"kind": finding["kind"], "words": _finding(finding)}
            for finding in found["findings"]
            if finding["kind"] in found["to_acknowledge"]
        ],
    }


def _finding(finding: Mapping[str, Any]) -> str:
    place = "" if finding["line"] is None else f"Line {finding['line']}: "
    return as_sentence(f"{place}{finding['reason']} {finding['fix']}".strip())
