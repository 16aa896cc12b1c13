"""The guard: interlocks, board and lock joined, and what the serial loop asks of them."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from math import inf

from etchdaemon.errors import CommandRefused
from etchdaemon.guard.board_io import BoardIo
from etchdaemon.guard.contact_test_records import ContactTestRecords
from etchdaemon.guard.interlock_monitor import InterlockMonitor
from etchdaemon.guard.lock import GuardLock
from etchdaemon.guard.operator_api import OperatorApi
from etchdaemon.interlocks.attendance.attendance_calls import AttendanceNote
from etchdaemon.interlocks.checks.wiring_gaps import watches_only_because
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.rules.rule_table import Phase
from etchdaemon.interlocks.rules.verdict import Verdict
from etchdaemon.interlocks.start.starting import StartRequest
from etchdaemon.ports import Board, BoxRecords, Clock


class Guard:
    """The interlocks as the loop sees them; any thread may call it.

    A refusal raises CommandRefused, with a sentence for the person.

    `monitor` looks at the board, in a thread of its own; `operator` answers people; and
    `contact_tests` joins the tests of contacts and the logbook. All four share one lock.
    """

    def __init__(
        self,
        interlocks: InterlockEngine,
        board: Board,
        clock: Clock,
        *,
        wake: Callable[[], None] = lambda: None,
        ask_for_look: Callable[[], None] = lambda: None,
        records: BoxRecords | None = None,
    ) -> None:
        """Drive every output off before anything else; `wake` and `records` must not wait."""
        self._board_io = BoardIo(board, note_beam=self._note_beam)
        self._interlocks = interlocks
        self._clock = clock
        self._ask_for_look = ask_for_look
        self._allowed_at_s = -inf
        self.lock = lock = GuardLock(interlocks.setup.lock_timeout_s)
        self.contact_tests = ContactTestRecords(
            interlocks.proofs, interlocks.relay, lock=lock, clock=clock, records=records
        )
        self.monitor = InterlockMonitor(
            interlocks,
            self._board_io,
            lock=lock,
            clock=clock,
            test_records=self.contact_tests,
            wake=wake,
        )
        self.operator = OperatorApi(
            interlocks, self._board_io, lock=lock, clock=clock, ask_for_look=ask_for_look
        )

    @property
    def phase(self) -> Phase:
        """Whether the box is idle, armed or etching."""
        return self._interlocks.phase

    @property
    def watches_only_because(self) -> str | None:
        """Why the box only watches; None where it may do more."""
        return watches_only_because(self._interlocks.setup.wired)

    @property
    def trouble(self) -> str | None:
        """A sentence where the board does less than it should, else None."""
        return self._board_io.trouble

    def note_loop_alive(self, *, is_waiting: bool = False) -> None:
        """Note that the loop is alive, or is about to wait for the logbook, without a beam."""
        if is_waiting:
            self.cut()
        self._interlocks.note_loop_alive(self._clock.wall_s(), is_waiting=is_waiting)

    def note_controller(self, *, obeys: bool) -> None:
        """Note whether the controller obeys; where it does not, cut the beam and look at once.

        The heartbeat stops until it obeys again.
        """
        self._interlocks.controller_obeys = obeys
        if not obeys:
            self.cut()
            self._ask_for_look()

    def verdict(self) -> Verdict:
        """Return what the loop has to do now, with every trip since the last call."""
        return self.monitor.verdict()

    # The beam.

    def allow(self) -> None:
        """Request the beam: its contact closes at the next look, unless something forbids it.

        The verdict says what forbids it, and `may_burn` whether the contact has closed.
        """
        self._allowed_at_s = self._clock.wall_s()
        with suppress(CommandRefused), self.lock.held():
            self._interlocks.allow_beam(self._clock.wall_s())
        self._ask_for_look()

    def cut(self) -> None:
        """Open the beam's contact now, even where the lock cannot be had."""
        self.monitor.cut_beam()

    def has_settled(self) -> bool:
        """Return whether it is long enough since `allow` for contact and laser to follow."""
        return self._clock.wall_s() - self._allowed_at_s >= self._interlocks.settle_s

    def may_burn(self) -> bool:
        """Return whether the contact is closed, has settled, and no rule forbids the beam."""
        with suppress(CommandRefused), self.lock.held():
            return self._interlocks.may_burn(self._clock.wall_s())
        return False

    # The run.

    def begin_run(self, request: StartRequest) -> dict[str, object]:
        """Begin a run and return what its record says of the box; raise CommandRefused."""
        with self.lock.held():
            return self._interlocks.begin_run(request, self._clock.wall_s())

    def resume_run(self) -> None:
        """Resume a held run; raise CommandRefused."""
        with self.lock.held():
            self._interlocks.resume_run(self._clock.wall_s())

    def end_run(self) -> None:
        """Cut the beam and note that the run is over."""
        self.cut()
        with self.lock.held_if_possible():
            self._interlocks.end_run()

    def note_fault(self) -> None:
        """Note that a fault of controller or cable ended the run, so that the buzzer sounds."""
        self._interlocks.note_fault(self._clock.wall_s())

    def recall_end(self, ago_s: float) -> None:
        """Note that the last run before this start of the daemon ended `ago_s` seconds ago."""
        with self.lock.held_if_possible():
            self._interlocks.attendance.recall_end(ago_s, self._clock.wall_s())

    def take_attendance_notes(self) -> Sequence[AttendanceNote]:
        """Return what was answered, or not, since the last call, for the run's record."""
        notes = self._interlocks.attendance.notes
        return [notes.popleft() for _ in range(len(notes))]

    # The safety relay's test at the end of a run.

    @property
    def can_test_relay(self) -> bool:
        """Whether this box is wired for it."""
        return self._interlocks.relay.can_be_tested

    def test_relay(self) -> bool:
        """Begin the test, before the contact opens; return False where it would prove nothing.

        The caller has seen the machine at rest and the controller's beam off.
        """
        with suppress(CommandRefused), self.lock.held():
            return self._interlocks.test_relay(self._clock.wall_s())
        return False

    def is_relay_tested(self) -> bool:
        """Return whether no test is under way any more."""
        return not self._interlocks.relay.is_tested

    @property
    def relay_trouble(self) -> str | None:
        """The sentence for a person after a test that failed, else None."""
        return self._interlocks.relay.trouble

    def close(self) -> None:
        """Drive every output off and release the board."""
        self._board_io.close()

    def _note_beam(self, is_on: bool) -> None:
        self._interlocks.note_beam_driven(is_on=is_on, now_s=self._clock.wall_s())
