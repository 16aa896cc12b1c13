"""What the daemon needs from outside, as protocols: where real and simulated parts meet."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Protocol

from etchdaemon.interlocks.inputs import Input, Level, Output
from etchdaemon.interlocks.rules import Phase
from etchdaemon.interlocks.starting import StartWish
from etchdaemon.interlocks.verdict import Verdict
from etchdaemon.run.actuals import RowActuals


class Clock(Protocol):
    """Time that never jumps, and the wall's time beside it."""

    def now_s(self) -> float:
        """Return the machine's monotonic seconds (simulated ones on the practice machine)."""
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


class PortOpener(Protocol):
    """Opens the serial line, for ourselves alone."""

    def __call__(self) -> BytePort:
        """Open the configured port; raise PortLost with a sentence when it cannot be had."""
        ...


class BeamEnable(Protocol):
    """The daemon's own contact in the laser's supply chain."""

    def allow(self) -> None:
        """Close the contact."""
        ...

    def cut(self) -> None:
        """Open the contact; harmless when it is open."""
        ...


class Guard(BeamEnable, Protocol):
    """The interlocks as the loop sees them; `allow` only asks, and the contact may stay open.

    Whoever is refused gets CommandRefused, with a sentence for the person.
    """

    @property
    def phase(self) -> Phase:
        """How far the box is."""
        ...

    @property
    def settle_s(self) -> float:
        """How long after `allow` the beam can be counted on, in the machine's seconds."""
        ...

    @property
    def standing(self) -> tuple[object, ...]:
        """Something that differs whenever a person has to be shown something new."""
        ...

    def note_steered(self, now_s: float, *, is_waiting: bool = False) -> None:
        """Note that the loop is alive, or is about to wait for the logbook, without a beam."""
        ...

    def verdict(self, now_s: float) -> Verdict:
        """Return what is asked of the machine now, and the trips since this was asked last."""
        ...

    def may_burn(self, now_s: float) -> bool:
        """Return whether the contact has closed and nothing speaks against a beam."""
        ...

    def why_not_start(self) -> str | None:
        """Return what stands in the way of a start as far as the box goes, or None."""
        ...

    def asked_at_start(self, wish: StartWish) -> Mapping[str, str | None]:
        """Return what people have to confirm with such a start."""
        ...

    def begin_run(self, wish: StartWish) -> Mapping[str, object]:
        """Let a run start, and return what its record says of the box."""
        ...

    def resume_run(self) -> None:
        """Let a held run go on."""
        ...

    def end_run(self) -> None:
        """Note that the run is over."""
        ...

    def arm(
        self, answers: Mapping[str, object], *, day: str, with_heartbeat_test: bool = False
    ) -> None:
        """Begin arming."""
        ...

    def disarm(self) -> None:
        """Undo arming."""
        ...

    def reset(self, names: Sequence[str]) -> None:
        """Reset the trips of these names."""
        ...

    def answer_round(self) -> None:
        """Note that somebody is within reach."""
        ...

    def note_bed_touched(self) -> None:
        """Ask the questions about the bed again."""
        ...

    def try_output(self, name: str, *, is_on: bool) -> None:
        """Try an output for a moment, or leave off."""
        ...

    def wiring(self) -> Mapping[str, Any]:
        """Return every input as it is and every output as it was driven: plain JSON values."""
        ...

    def report(self, *, day: str) -> Mapping[str, Any]:
        """Return what a person is shown: plain JSON values."""
        ...


class Board(Protocol):
    """The box's inputs and outputs. Only one thread reads; any thread may set an output."""

    def read(self) -> Mapping[Input, Level]:
        """Return every input that can be read, with the time of reading; raise BoardLost."""
        ...

    def take_opened(self) -> Mapping[Input, float]:
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


class Records(Protocol):
    """The logbook as the serial loop sees it: nothing but a start and a resume waits for it."""

    def start_run(
        self,
        *,
        sheet_json: str,
        started_at_utc: str,
        notes: Mapping[str, Any],
        continues_run: int | None = None,
    ) -> int:
        """Write a run's start, wait until it is on disk and return its number.

        Raise LogbookUnavailable when it cannot be written: then nothing may start.
        """
        ...

    def note_event(
        self,
        run: int,
        *,
        at_s: float,
        at_utc: str,
        kind: str,
        text: str,
        details: Mapping[str, Any],
    ) -> None:
        """Queue an event of a run (hold, resume, trip, warning ...), first in line; never waits."""
        ...

    def confirm_event(
        self,
        run: int,
        *,
        at_s: float,
        at_utc: str,
        kind: str,
        text: str,
        details: Mapping[str, Any],
    ) -> None:
        """As `note_event`, but wait until it is on disk (a resume); raise LogbookUnavailable."""
        ...

    def note_rows(self, run: int, rows: Sequence[RowActuals]) -> None:
        """Queue rows' actuals; the writer commits at most once a second."""
        ...

    def end_run(
        self, run: int, *, ended: str, because: str, elapsed_s: float, at_utc: str, etched_rows: int
    ) -> None:
        """Queue a run's end: `ended` is complete, stopped or failed; never waits."""
        ...

    @property
    def trouble(self) -> str | None:
        """A sentence when the logbook cannot be written at present, else None."""
        ...

    @property
    def storage(self) -> Mapping[str, Any]:
        """What people are told of room and backups, as the snapshot shows it; asks no disk."""
        ...


class History(Protocol):
    """The logbook as it is read; any thread may ask, and waits for the answer."""

    def ask(self, question: str, **parameters: Any) -> Mapping[str, Any]:
        """Answer `runs`, `run`, `run_rows` or `run_events` with plain JSON values.

        Raise CommandRefused for a run that is not there, LogbookUnavailable when the logbook
        cannot be read.
        """
        ...

    def note(self, command: str, **parameters: Any) -> Mapping[str, Any]:
        """Write what a person says of lasers, recipes, cards or tiles; return its number on disk.

        Raise CommandRefused for what makes no sense, LogbookUnavailable when the logbook cannot
        be written.
        """
        ...


class Operator(Protocol):
    """The daemon's loop as a person's wishes reach it; any thread may call."""

    def snapshot(self) -> Mapping[str, Any]:
        """Return the newest snapshot: plain JSON values, never changed afterwards.

        Its `sequence` grows by one with every new snapshot.
        """
        ...

    def request(self, command: str, **arguments: Any) -> Mapping[str, Any]:
        """Ask for `command` and wait for its answer.

        `load` takes `gcode_fd` and `sheet_fd` (the caller closes them) and answers
        `{"job_sha256": ...}`; `unload`, `start`, `hold`, `hold_now`, `resume`, `stop` take
        nothing and answer `{}` once they are under way. Raise CommandRefused, JobRefused or
        LogbookUnavailable, each with a sentence for the person.
        """
        ...

    def tell_changes_to(self, listener: Callable[[], None]) -> None:
        """Call `listener` after every new snapshot, in the loop's own thread.

        It must return at once (set an event, ring a bell) and never raise.
        """
        ...


class Doorbell(Protocol):
    """Wakes the loop before its time when somebody has a wish."""

    def ring(self) -> None:
        """Wake the loop; harmless when nobody waits. Any thread, and a signal handler, may."""
        ...

    def wait(self, timeout_s: float) -> None:
        """Return when somebody rings, or after `timeout_s` of the wall's seconds."""
        ...
