"""What was found in a file: one entry for each kind, with its first line and how often."""

from typing import Final

from etchpath.machine import Machine
from etchpath.preflight.kind import Severity
from etchpath.preflight.policy import KINDS
from etchwire.preflight_finding import FindingView

READY: Final = "ready"
SHOWN_CHARACTERS: Final = 80
_GRAVITY: Final = tuple(Severity)


class Findings:
    """Gathers findings on one machine; the memory it needs is that of the table of kinds."""

    def __init__(self, machine: Machine) -> None:
        """Know nothing yet."""
        self._machine = machine
        self._found: dict[str, tuple[int | None, int, str]] = {}

    def add(self, kind: str, *, line: int | None = None, count: int = 1, text: bytes = b"") -> None:
        """Note `count` more of `kind`, first met at `line`, which reads `text`."""
        finding = self._found.get(kind)
        if finding is None:
            self._found[kind] = (line, count, _printable(text))
        else:
            self._found[kind] = (finding[0], finding[1] + count, finding[2])

    def __contains__(self, kind: str) -> bool:
        """Return whether anything of `kind` was found."""
        return kind in self._found

    def gravest_first(self) -> tuple[FindingView, ...]:
        """Return everything found: what refuses the job first, then by line."""
        findings = [self._finding(name) for name in self._found]
        return tuple(
            sorted(findings, key=lambda f: (-_GRAVITY.index(Severity(f.severity)), f.line or 0))
        )

    def verdict(self) -> str:
        """Return ready, acknowledge or refused."""
        severities = {KINDS[name].severity_on(self._machine) for name in self._found}
        for severity in (Severity.REFUSED, Severity.ACKNOWLEDGE):
            if severity in severities:
                return severity.value
        return READY

    def _finding(self, name: str) -> FindingView:
        kind = KINDS[name]
        line, count, text = self._found[name]
        severity = kind.severity_on(self._machine)
        return FindingView(
            kind=name,
            severity=severity.value,
            line=line,
            count=count,
            text=text,
            reason=kind.reason,
            fix=kind.fix,
        )


def _printable(text: bytes) -> str:
    """Return a line as people may be shown it: short, and printable whatever it holds."""
    printable = "".join(
        chr(b) if 0x20 <= b < 0x7F else "\N{MIDDLE DOT}" for b in text[:SHOWN_CHARACTERS]
    )
    return printable + ("..." if len(text) > SHOWN_CHARACTERS else "")
