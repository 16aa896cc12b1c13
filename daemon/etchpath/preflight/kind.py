"""A kind of finding: how grave it is, why, and what a person can do about it."""

from dataclasses import dataclass
from enum import StrEnum

from etchpath.machine import Machine


class Severity(StrEnum):
    """What a finding means for the job; the gravest of a file is its verdict."""

    NOTE = "note"
    ACKNOWLEDGE = "acknowledge"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class FindingKind:
    """One kind of finding. Where `given` holds of the machine, `then` is its severity."""

    name: str
    severity: Severity
    reason: str
    fix: str = ""
    given: str = ""  # the name of a yes-or-no entry of Machine
    then: Severity = Severity.REFUSED

    def severity_on(self, machine: Machine) -> Severity:
        """Return how grave this is on `machine`."""
        return self.then if self.given and getattr(machine, self.given) else self.severity
