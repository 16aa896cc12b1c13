"""What the daemon needs of the box: its contacts, and the guard over them."""

from collections.abc import Mapping, Sequence
from typing import Protocol

from etchdaemon.interlocks.attendance.attendance_calls import AttendanceNote
from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.inputs import Input, Level, Output
from etchdaemon.interlocks.rules.rule_table import Phase
from etchdaemon.interlocks.rules.verdict import Verdict
from etchdaemon.interlocks.start.starting import StartRequest
from etchwire.calls.interlock_report import InterlockReport, WiringReport


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

    A refusal raises CommandRefused, with a sentence for the person.
    """

    @property
    def operator(self) -> "BoxOperator":
        """The same box as people see it."""
        ...

    @property
    def phase(self) -> Phase:
        """Whether the box is idle, armed or etching."""
        ...

    @property
    def watches_only_because(self) -> str | None:
        """Why the box only watches, and no line that moves or burns is sent; else None."""
        ...

    @property
    def trouble(self) -> str | None:
        """A sentence where the board does less than it should, else None."""
        ...

    def note_loop_alive(self, *, is_waiting: bool = False) -> None:
        """Note that the loop is alive, or is about to wait for the logbook, without a beam."""
        ...

    def note_controller(self, *, obeys: bool) -> None:
        """Note whether the controller obeys; while it does not, the heartbeat stops."""
        ...

    def verdict(self) -> Verdict:
        """Return what the loop has to do now, with every trip since the last call."""
        ...

    def has_settled(self) -> bool:
        """Return whether it is long enough since `allow` for contact and laser to follow."""
        ...

    def may_burn(self) -> bool:
        """Return whether the contact is closed, has settled, and no rule forbids the beam."""
        ...

    def begin_run(self, request: StartRequest) -> Mapping[str, object]:
        """Begin a run, and return what its record says of the box."""
        ...

    def resume_run(self) -> None:
        """Resume a held run."""
        ...

    def end_run(self) -> None:
        """Note that the run is over."""
        ...

    def note_fault(self) -> None:
        """Note that a fault of controller or cable ended the run, so that the buzzer sounds."""
        ...

    def recall_end(self, ago_s: float) -> None:
        """Note that the last run before this start of the daemon ended `ago_s` seconds ago."""
        ...

    def take_attendance_notes(self) -> Sequence[AttendanceNote]:
        """Return what was answered, or not, since the last call; empty mostly."""
        ...

    @property
    def can_test_relay(self) -> bool:
        """Whether the box is wired so that a stuck safety relay can be found."""
        ...

    def test_relay(self) -> bool:
        """Begin to test the safety relay, before the contact opens at a run's end.

        Return False, without a test, where it would prove nothing. The caller has seen the machine
        at rest and the controller's beam off.
        """
        ...

    def is_relay_tested(self) -> bool:
        """Return whether no such test is under way any more."""
        ...

    @property
    def relay_trouble(self) -> str | None:
        """The sentence for a person after a test that failed, else None."""
        ...


class BoxOperator(Protocol):
    """The interlocks as people see them. A refusal raises CommandRefused, with a sentence."""

    def why_not_start(self) -> str | None:
        """Return what forbids a start at the box, or None."""
        ...

    def why_not_resume(self) -> str | None:
        """Return what forbids at the box that a held run is resumed, or None."""
        ...

    def confirmations_for(self, request: StartRequest) -> Mapping[str, str | None]:
        """Return what people have to confirm with such a start."""
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
        """Try an output for a moment, or stop trying."""
        ...

    def wiring(self) -> WiringReport:
        """Return every input as read and every output as driven."""
        ...

    def report(self, *, day: str) -> InterlockReport:
        """Return what the page shows of the interlocks on `day` (as 2026-11-28)."""
        ...

    @property
    def report_key(self) -> tuple[object, ...]:
        """A value that differs whenever `report` has something new to show at once."""
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
