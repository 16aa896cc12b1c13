"""The daemon's outside, in memory: port, clock, contact, doorbell and logbook."""

import json
from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import asdict, dataclass, field
from hashlib import sha256
from types import SimpleNamespace
from typing import Any

from etchdaemon.errors import JobRefused, LogbookUnavailable, PortLost
from etchdaemon.logbook.backup.backups import NOTHING_KEPT
from etchdaemon.ports import PreflightReport, RunEnd, RunNote
from etchdaemon.run.reentry_rules import FileRest
from etchpath.errors import NoReentry
from etchpath.reentry.file_cut import FileCut
from etchpath.reentry.remainder_files import resume_file, write_rest_folder
from etchpractice.machine import Unplugged
from etchwire.calls.history import RunEvent, RunEvents, RunEventsPage, RunRow, Runs
from etchwire.preflight_finding import FindingView

CONTACT_SETTLES_S = 0.05


class MemoryClock:
    """The practice machine's time, and a wall clock that can be set."""

    seconds_per_wall_second = 1.0

    def __init__(self, machine) -> None:
        self._machine = machine
        self.year = 2026

    def now_s(self) -> float:
        return self._machine.now_s

    def wall_s(self) -> float:
        return self._machine.now_s

    def utc_now(self) -> str:
        seconds = int(self._machine.now_s)
        return (
            f"{self.year}-01-01T{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}Z"
        )


class MemoryPort:
    """A cable to the practice machine that can be pulled out, and bytes that can get lost."""

    def __init__(self, machine) -> None:
        self._machine = machine
        self.boot_s = 0.0  # how long the board takes to greet
        self.is_taken = False
        self.is_blocked = False
        self.damage: tuple[bytes, bytes] | None = None  # what the cable makes of what
        self.written = bytearray()
        self.heard = bytearray()
        self.discards = 0

    def hangs_on(self, machine) -> None:
        """Let it be this machine's, or another device's."""
        self._machine = machine

    def __call__(self) -> "MemoryPort":
        """Open it, as a PortOpener."""
        if not self._machine.is_plugged:
            raise PortLost("There is no port practice.")
        if self.is_taken:
            raise PortLost("The port practice is in use by another program.")
        self.is_blocked = False  # as a driver that is set up anew
        self._machine.open_port(self.boot_s)
        return self

    def read_waiting(self) -> bytes:
        try:
            data = self._machine.read()
        except Unplugged:
            raise PortLost("The port practice is gone.") from None
        self.heard += data
        return data

    def write(self, data: bytes) -> None:
        if self.is_blocked:
            raise PortLost("The port practice takes no more bytes.")
        try:
            self._machine.write(data.replace(*self.damage) if self.damage else data)
        except Unplugged:
            raise PortLost("The port practice is gone.") from None
        self.written += data

    def discard_output(self) -> None:
        """Count it; what was written is on the wire already: this port keeps no queue."""
        self.discards += 1

    def close(self) -> None:
        pass


class MemoryContact:
    """The beam enable's contact on the practice board, and when it last opened."""

    def __init__(self, machine, clock: MemoryClock) -> None:
        self._board = machine.board
        self._clock = clock
        self.cut_at_s: float | None = None
        self.allowed_at_s = 0.0
        self._board.connect()

    @property
    def is_closed(self) -> bool:
        return self._board.outputs["beam_enable"]

    @property
    def has_settled(self) -> bool:
        return self._clock.wall_s() - self.allowed_at_s >= CONTACT_SETTLES_S

    def allow(self) -> None:
        self.allowed_at_s = self._clock.wall_s()
        self._board.set_output("beam_enable", True)

    def cut(self) -> None:
        if self.is_closed:
            self.cut_at_s = self._clock.now_s()
        self._board.set_output("beam_enable", False)


class NoDoorbell:
    """Nobody has to be woken: the rig steps the loop itself."""

    def ring(self) -> None:
        pass

    def wait(self, timeout_s: float) -> None:
        pass


@dataclass
class RunRecord:
    """One run as the logbook would hold it."""

    sheet_json: str
    notes: Mapping[str, Any]
    continues_run: int | None = None
    events: list[Mapping[str, Any]] = field(default_factory=list)
    rows: list[RunRow] = field(default_factory=list)
    end: Mapping[str, Any] | None = None

    def kinds(self) -> list[str]:
        return [event["kind"] for event in self.events]

    def event(self, kind: str) -> Mapping[str, Any]:
        return next(event for event in self.events if event["kind"] == kind)


class MemoryRecords:
    """A logbook that keeps everything, until it is told that its disk is full."""

    def __init__(self) -> None:
        self.runs: list[RunRecord] = []
        self.trouble: str | None = None
        self.storage = NOTHING_KEPT
        self.epochs: list[str] = []  # why each began
        self.origins: list[Any] = []
        self.loaded_job: str | None = None

    def start_run(
        self,
        *,
        sheet_json: str,
        notes: Mapping[str, Any],
        continues_run: int | None = None,
        **_: Any,
    ) -> int:
        self._require_disk()
        self.runs.append(RunRecord(sheet_json, notes, continues_run))
        return len(self.runs)

    def note_event(self, note: RunNote) -> None:
        event = asdict(note)
        self.runs[event.pop("run") - 1].events.append(event)

    def confirm_event(self, note: RunNote) -> None:
        self._require_disk()
        self.note_event(note)

    def note_rows(self, run: int, rows: Sequence[RunRow]) -> None:
        self.runs[run - 1].rows.extend(rows)

    def end_run(self, end: RunEnd) -> None:
        entries = asdict(end)
        self.runs[entries.pop("run") - 1].end = entries

    def note_epoch(self, because: str, **_: Any) -> None:
        self.epochs.append(because)

    def note_loaded(self, gcode_sha256: str | None) -> None:
        self.loaded_job = gcode_sha256

    def note_origin(self, origin: Any, ends_mm: Any, **_: Any) -> None:
        self.origins.append((origin, ends_mm))

    def ask(self, call: Any) -> Any:
        """Answer what a re-entry asks, as a History."""
        if isinstance(call, Runs):
            return SimpleNamespace(runs=[self.record(len(self.runs))] if self.runs else [])
        if isinstance(call, RunEvents):
            events = tuple(
                RunEvent(id=n, **event)
                for n, event in enumerate(self.runs[call.id - 1].events, start=1)
            )
            return RunEventsPage(events=events, next_after=None)
        return self.record(call.id)

    def record(self, number: int) -> Any:
        """Return what a re-entry asks of a run."""
        run = self.runs[number - 1]
        sheet = json.loads(run.sheet_json)
        end = run.end or {"ended": None, "because": None, "etched_rows": None}
        later = [n for n, one in enumerate(self.runs, start=1) if one.continues_run == number]
        return SimpleNamespace(
            id=number,
            title=sheet["title"],
            gcode_sha256=sheet["gcode_sha256"],
            notes=run.notes,
            verdict=None,
            continues_run_id=run.continues_run,
            continued_by_run_id=max(later, default=None),
            **end,
        )

    def _require_disk(self) -> None:
        if self.trouble is not None:
            raise LogbookUnavailable(self.trouble)


class MemoryPreflight:
    """Finds in every file what a test has put into `findings`, at once unless it `is_slow`."""

    def __init__(self) -> None:
        self.findings: list[dict[str, Any]] = []
        self.failure: Exception | None = None
        self.is_slow = False
        self.machines: list[Mapping[str, Any]] = []  # as they were described
        self._begun: list[tuple[Future, PreflightReport]] = []

    def find(self, kind: str, severity: str) -> None:
        """Find this from now on."""
        entry = {"kind": kind, "severity": severity, "line": 3, "count": 1, "text": "M3"}
        self.findings.append(entry | {"reason": f"It holds {kind}.", "fix": "Do without."})

    def begin(self, gcode, machine) -> Future:
        found: Future = Future()
        self.machines.append(machine)
        severities = {finding["severity"] for finding in self.findings}
        gravest = [name for name in ("refused", "acknowledge") if name in severities]
        report = PreflightReport(
            verdict=(gravest or ["ready"])[0],
            findings=tuple(FindingView(**finding) for finding in self.findings),
            gcode_sha256=sha256(gcode.read_bytes()).hexdigest(),
        )
        self._begun.append((found, report))
        if not self.is_slow:
            self.finish()
        return found

    def finish(self) -> None:
        """Be done with what was begun last."""
        found, report = self._begun[-1]
        if self.failure is None:
            found.set_result(report)
        else:
            found.set_exception(self.failure)


class MemoryRests:
    """What the child process does, in this one."""

    def write(self, job, rest, *, row, x_mm) -> None:
        try:
            write_rest_folder(job, rest, row=row, x_mm=x_mm)
        except NoReentry as error:
            raise JobRefused(f"No re-entry: {error}.") from error

    def resume_file(self, job, rest, *, cut):
        try:
            return FileRest(**asdict(resume_file(job, rest, FileCut.from_table(cut))))
        except NoReentry as error:
            raise JobRefused(f"No re-entry: {error}.") from error
