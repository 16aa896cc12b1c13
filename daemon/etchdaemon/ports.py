"""What the daemon needs from outside, as protocols: where real and simulated parts meet."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TypeVar

from etchdaemon.interlocks.clocks import Edge, MachineSeconds, WallSeconds
from etchdaemon.interlocks.inputs import Input, Level, Output
from etchdaemon.run.position_epoch import Ends, Origin
from etchdaemon.run.reentry_rules import FileRest
from etchwire.calls.call import Call
from etchwire.calls.catalogue import Note, Noted
from etchwire.calls.history import RunRow
from etchwire.calls.snapshot import Snapshot, StorageView
from etchwire.preflight_finding import FindingView
from etchwire.transport.json_text import JsonTable

_Answer = TypeVar("_Answer")

# What the daemon needs of the machine and of time.


class Clock(Protocol):
    """Monotonic time and wall-clock time."""

    def now_s(self) -> MachineSeconds:
        """Return the machine's monotonic seconds (simulated ones on the practice machine)."""
        ...

    def wall_s(self) -> WallSeconds:
        """Return the monotonic seconds in which contacts are read and people act."""
        ...

    def utc_now(self) -> str:
        """Return the wall clock's time as ISO 8601 in UTC, to the second."""
        ...

    @property
    def seconds_per_wall_second(self) -> float:
        """How much faster than the wall the machine's time is meant to run; 1 on a real one."""
        ...


class BytePort(Protocol):
    """A serial line to the controller."""

    def read_waiting(self) -> bytes:
        """Return the bytes that have arrived, possibly none, without waiting; raise PortLost."""
        ...

    def write(self, data: bytes) -> None:
        """Hand over every byte of `data`; raise PortLost."""
        ...

    def discard_output(self) -> None:
        """Throw away what was written and has not left yet; raise PortLost."""
        ...

    def close(self) -> None:
        """Let go of the port; never raises."""
        ...


# Opens the configured port for ourselves alone; raises PortLost, with a sentence.
PortOpener = Callable[[], BytePort]


class Doorbell(Protocol):
    """Wakes the loop early when a command arrives."""

    def ring(self) -> None:
        """Wake the loop; harmless when nobody waits. Any thread, and a signal handler, may."""
        ...

    def wait(self, timeout_s: float) -> None:
        """Return when somebody rings, or after `timeout_s` wall-clock seconds."""
        ...


# What the daemon needs of the box: its contacts, and what is written down about them.


class BeamEnable(Protocol):
    """The daemon's own contact in the laser's supply chain."""

    def allow(self) -> None:
        """Close the contact."""
        ...

    def cut(self) -> None:
        """Open the contact; harmless when it is open."""
        ...


class Board(Protocol):
    """The box's inputs and outputs. Only one thread reads; any thread may set an output."""

    @property
    def trouble(self) -> str | None:
        """A sentence for a person where the board does less than it should, else None."""
        ...

    def read(self) -> Mapping[Input, Level]:
        """Return every input that can be read, with the time of reading; raise BoardLost."""
        ...

    def take_opened(self) -> Mapping[Input, Edge]:
        """Return the inputs that were seen to open since this was asked last, and when.

        One entry an input, so nothing can pile up; an input that opened is never left out,
        however often it has closed again since. Edges may get lost all the same: `read` is
        the truth.
        """
        ...

    def set(self, output: Output, *, is_on: bool) -> None:
        """Drive an output, at once; raise BoardLost. An output that is not wired is ignored."""
        ...

    def close(self) -> None:
        """Drive every output off and let go of the board; never raises."""
        ...


class BoxRecords(Protocol):
    """The logbook as the guard sees it: nothing here waits."""

    def note_proof(self, name: str, at_utc: str) -> None:
        """Queue that the safety contact `name` was seen to open and to close again."""
        ...

    def note_relay_test(self, at_utc: str, *, has_passed: bool) -> None:
        """Queue how a test of the safety relay ended."""
        ...


# What the daemon needs of its logbook.


@dataclass(frozen=True, slots=True, kw_only=True)
class RunNote:
    """Something that happened in a run (hold, resume, trip, warning ...)."""

    run: int
    at_s: float
    at_utc: str
    kind: str
    text: str
    details: JsonTable


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEnd:
    """How a run ended: `ended` is complete, stopped or failed."""

    run: int
    ended: str
    because: str
    elapsed_s: float
    at_utc: str
    etched_rows: int


class Records(Protocol):
    """The logbook as the serial loop sees it: nothing but a start and a resume waits for it."""

    def start_run(
        self,
        *,
        sheet_json: str,
        started_at_utc: str,
        notes: JsonTable,
        continues_run: int | None = None,
    ) -> int:
        """Write a run's start, wait until it is on disk and return its number.

        Raise LogbookUnavailable when it cannot be written: then nothing may start.
        """
        ...

    def note_event(self, note: RunNote) -> None:
        """Queue an event of a run, first in line; never waits."""
        ...

    def confirm_event(self, note: RunNote) -> None:
        """As `note_event`, but wait until it is on disk (a resume); raise LogbookUnavailable."""
        ...

    def note_rows(self, run: int, rows: Sequence[RunRow]) -> None:
        """Queue rows' actuals; the writer commits at most once a second."""
        ...

    def end_run(self, end: RunEnd) -> None:
        """Queue a run's end; never waits."""
        ...

    def note_epoch(self, because: str, *, at_utc: str) -> None:
        """Queue that another position epoch has begun; never waits."""
        ...

    def note_loaded(self, gcode_sha256: str | None) -> None:
        """Queue which job lies on the bench from now on, None for none; never waits."""
        ...

    def note_origin(self, origin: Origin, ends_mm: Ends | None, *, at_utc: str) -> None:
        """Queue that the origin was set in the epoch that lasts.

        `ends_mm` are the ends of the travel, where the machine was homed. Never waits.
        """
        ...

    @property
    def trouble(self) -> str | None:
        """A sentence when the logbook cannot be written at present, else None."""
        ...

    @property
    def storage(self) -> StorageView:
        """Free space and backups, as the snapshot shows them; reads no disk."""
        ...


class History(Protocol):
    """The logbook as it is read; any thread may ask, and waits for the answer."""

    def ask(self, call: Call[_Answer]) -> _Answer:
        """Answer what is asked of runs, the catalogue or backups.

        Raise CommandRefused for a run that is not there, LogbookUnavailable when the logbook
        cannot be read.
        """
        ...

    def note(self, call: Note) -> Noted:
        """Write what a person says of lasers, recipes, cards or tiles; return its number on disk.

        Raise CommandRefused for what makes no sense, LogbookUnavailable when the logbook cannot
        be written.
        """
        ...


# What is done to jobs away from the loop.


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


# The daemon as people reach it.


class Operator(Protocol):
    """The daemon's loop, as commands reach it; any thread may call."""

    def snapshot(self) -> Snapshot:
        """Return the newest snapshot.

        Its `sequence` grows by one with every new snapshot.
        """
        ...

    def request(self, call: Call[_Answer]) -> _Answer:
        """Make `call` and wait for its answer; open files stay the caller's to close.

        What takes its time is answered once it is under way. Raise CommandRefused, JobRefused or
        LogbookUnavailable, each with a sentence for the person.
        """
        ...

    def call_on_change(self, listener: Callable[[], None]) -> None:
        """Call `listener` after every new snapshot, in the loop's own thread.

        It must return at once (set an event, ring a bell) and never raise.
        """
        ...
