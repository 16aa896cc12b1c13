"""Whether the loaded job may be run on the machine as it is set now: what the preflight found."""

from collections.abc import Collection
from concurrent.futures import Future
from pathlib import Path
from typing import Final

from etchdaemon.controller.facts import Facts
from etchdaemon.errors import CommandRefused, EtchdaemonError, JobRefused
from etchdaemon.ports import Preflight, PreflightReport
from etchdaemon.service.job.spool import SpooledJob
from etchdaemon.service.link.controller_profile import machine_table
from etchwire.bed import Bed
from etchwire.calls.snapshot import PreflightView
from etchwire.controller.profile import LineCosts
from etchwire.preflight_finding import FindingView
from etchwire.transport.json_text import JsonTable

CHECKING: Final = "The job is being checked; that takes up to a minute for a big one."
WAITING: Final = "The job is checked as soon as the machine is ready."
CHANGED: Final = (
    "The controller's settings have changed since the job was checked, so it is being checked"
    " again. Start it when that is done."
)
ANOTHER_FILE: Final = "The job's copy has changed since it was loaded. Load it again."
IS_READY: Final = "Job checked: no problems."
MOST_FINDINGS: Final = 8  # in a snapshot, which goes out four times a second
_CONSTANT_POWER: Final = frozenset(("constant power", "beam on at standstill"))


class Inspection:
    """The preflight of the job that is loaded, for the machine as it was described last.

    A preflight counts only for the settings it was made with: `keep_up` begins another when
    they have changed.
    """

    def __init__(self, preflight: Preflight) -> None:
        self._preflight = preflight
        self._job: SpooledJob | None = None
        self._known: tuple[object, ...] = ()  # what the machine was last described by
        self._machine: JsonTable | None = None  # as it was described to the preflight
        self._stamp: object = None  # of the copy that it was given
        self._begun: Future[PreflightReport] | None = None
        self._report: PreflightReport | None = None
        self._failure: str | None = None
        self._acknowledged: frozenset[str] = frozenset()

    def take(self, job: SpooledJob | None) -> None:
        """Forget what was found, and look at `job` instead."""
        self._job = job
        self._known, self._machine = (), None
        self._forget()

    def keep_up(self, facts: Facts | None, bed: Bed | None, costs: LineCosts) -> None:
        """Begin a preflight where one is due, and take in what has been found.

        `bed` is None as long as nobody knows where in it the origin lies; `costs` are what lines
        cost the controller.
        """
        if self._job is None or facts is None:
            return
        if (facts, bed, costs) != self._known:  # seldom: describing it on each look would cost more
            self._known = (facts, bed, costs)
            self._begin_anew(self._job, machine_table(facts, self._job.sheet.head, bed, costs))
        if self._begun is not None and self._begun.done():
            begun, self._begun = self._begun, None
            self._take_in(begun, self._job)

    def _begin_anew(self, job: SpooledJob, machine: JsonTable) -> None:
        if machine == self._machine:
            return
        self._forget()
        self._machine = machine
        self._stamp = _stamp_of(job.gcode)
        self._begun = self._preflight.begin(job.gcode, machine)

    def acknowledge(self, kinds: Collection[str]) -> None:
        """Note that a person has read findings of these kinds; raise JobRefused, CommandRefused.

        Everything that has to be read must be named; once named it stays so.
        """
        report = self._passed()
        self._acknowledged |= frozenset(kinds) & frozenset(_to_acknowledge(report))
        missing = [kind for kind in _to_acknowledge(report) if kind not in self._acknowledged]
        if missing:
            sentences = " ".join(_sentences(report, "acknowledge"))
            raise CommandRefused(
                f"Read this first and confirm it ({', '.join(missing)}): {sentences}"
            )

    @property
    def can_be_armed(self) -> bool:
        """Whether the job may run once its findings are acknowledged."""
        return self._report is not None and self._report.verdict != "refused"

    @property
    def has_constant_power(self) -> bool:
        """Whether the job can hold the beam on at standstill."""
        return not _CONSTANT_POWER.isdisjoint(self.kinds)

    @property
    def kinds(self) -> list[str]:
        """The kinds of what was found, gravest first; empty as long as nothing is known."""
        return [] if self._report is None else [one.kind for one in self._report.findings]

    @property
    def standing(self) -> tuple[object, ...]:
        """Something that differs whenever a person has to be shown something new."""
        return (self._begun, self._failure, id(self._report), self._acknowledged)

    def record(self) -> dict[str, object]:
        """Return what the run's record says of it."""
        return {
            "verdict": None if self._report is None else self._report.verdict,
            "kinds": self.kinds,
            "acknowledged": sorted(self._acknowledged),
        }

    def view(self) -> PreflightView:
        """Return what the snapshot shows: the gravest findings, and how many there are."""
        report = self._report
        if report is None:
            waiting = WAITING if self._begun is None else CHECKING
            return PreflightView(
                verdict="failed" if self._failure else "checking",
                sentence=self._failure or waiting,
                to_acknowledge=(),
                findings=(),
                findings_count=0,
            )
        sentences = _sentences(report, report.verdict)
        return PreflightView(
            verdict=report.verdict,
            sentence=" ".join(sentences[:3]) or IS_READY,
            to_acknowledge=tuple(
                kind for kind in _to_acknowledge(report) if kind not in self._acknowledged
            ),
            findings=report.findings[:MOST_FINDINGS],
            findings_count=len(report.findings),
        )

    def _forget(self) -> None:
        self._begun = self._report = self._failure = None
        self._acknowledged = frozenset()

    def _take_in(self, begun: "Future[PreflightReport]", job: SpooledJob) -> None:
        try:
            report = begun.result()
        except EtchdaemonError as error:
            self._failure = str(error)
            return
        if report.gcode_sha256 != job.sheet.gcode_sha256:
            self._failure = ANOTHER_FILE
        else:
            self._report = report

    def _passed(self) -> PreflightReport:
        if self._failure is not None:
            raise JobRefused(self._failure)
        if self._report is None:
            raise CommandRefused(WAITING if self._begun is None else CHECKING)
        if self._report.verdict == "refused":
            raise JobRefused(" ".join(_sentences(self._report, "refused")[:MOST_FINDINGS]))
        if self._job is None or self._stamp != _stamp_of(self._job.gcode):
            raise JobRefused(ANOTHER_FILE)
        return self._report


def _stamp_of(gcode: Path) -> object:
    """Return what changes with a file, without reading it: the loop cannot wait for that."""
    try:
        found = gcode.stat()
    except OSError:
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns


def _to_acknowledge(report: PreflightReport) -> list[str]:
    return [one.kind for one in report.findings if one.severity == "acknowledge"]


def _sentences(report: PreflightReport, severity: str) -> list[str]:
    return [_sentence(one) for one in report.findings if one.severity == severity]


def _sentence(finding: FindingView) -> str:
    place = "" if finding.line is None else f"Line {finding.line}: "
    return f"{place}{finding.reason} {finding.fix}".strip()
