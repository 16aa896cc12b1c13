"""The guard at its post: looks at the board, and is the only one who closes the beam's contact."""

import logging
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from math import inf
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.guard.board_io import BoardIo
from etchdaemon.guard.lock import HANGS, GuardLock
from etchdaemon.interlocks.asking import Interlocks
from etchdaemon.interlocks.attendance.attendance_calls import AttendanceNote
from etchdaemon.interlocks.clocks import MachineSeconds, WallSeconds
from etchdaemon.interlocks.inputs import CUTS_ON_EDGE, Look, Output
from etchdaemon.interlocks.limits import MONOSTABLE_S, STALE_AFTER_S
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction
from etchdaemon.interlocks.rules.verdict import Verdict
from etchdaemon.interlocks.start.starting import StartRequest
from etchdaemon.ports import Board, BoxRecords, Clock

RECENT_S: Final = 0.05
LOG_FAILURE_EVERY_S: Final = 60.0
QUIET: Final = Verdict(Reaction.NOTHING)

_log = logging.getLogger("etchdaemon.guard")


class InterlockMonitor:
    """Joins interlocks and board for whoever steers the machine.

    It knows no thread: whoever calls `look` moves it on.

    A trip goes in this order: the beam's contact opens (here, on the edge, before anything is
    read or judged), whoever steers the machine is woken, and what they do to the controller
    comes before the log and the people. `wake` and `records` must return at once.

    A guard that fails cuts first and logs afterwards, at most once a minute: a log that is written
    a hundred times a second fills the card and keeps the loop waiting.

    `look` is for one thread; everything else may be called from another. That one steers the
    machine, and each notices when the other hangs: `note_loop_alive` and the samples grow stale.
    """

    def __init__(
        self,
        interlocks: Interlocks,
        board: Board,
        clock: Clock,
        *,
        wake: Callable[[], None] = lambda: None,
        ask_for_look: Callable[[], None] = lambda: None,
        records: BoxRecords | None = None,
    ) -> None:
        """Drive every output off before anything else."""
        self._board_io = BoardIo(board, note_beam=self._note_beam)
        self._interlocks = interlocks
        self._clock = clock
        self._wake = wake
        self._ask_for_look = ask_for_look
        self._records = records
        self._lock = GuardLock()
        self._reaction = Reaction.NOTHING
        self._opened_at_s: MachineSeconds | None = None
        self._looked_at_s = -inf
        self._allowed_at_s = -inf
        self._failure_logged_at_s = -inf
        self._failures_unlogged = 0
        self.looks = 0  # how often it has got to the end of one

    def look(self) -> None:
        """Look once and do what follows; never raises, a failure trips everything."""
        try:
            self._look()
        except Exception:  # noqa: BLE001 - whatever it is, nothing is watched any more
            self._fail()  # the beam first, the log afterwards
            self._log_failure()
        self.looks += 1

    def has_settled(self) -> bool:
        """Return whether it is long enough since `allow` for the beam to be counted on."""
        return self._clock.wall_s() - self._allowed_at_s >= self._interlocks.settle_s

    def note_loop_alive(self, *, is_waiting: bool = False) -> None:
        """Note that the loop is alive, or is about to wait for the logbook, without a beam."""
        if is_waiting:
            self.cut()
        self._interlocks.note_loop_alive(self._clock.wall_s(), is_waiting=is_waiting)

    def note_controller(self, *, obeys: bool) -> None:
        """Note whether the controller does what it is told; where it does not, look at once."""
        self._interlocks.controller_obeys = obeys
        if not obeys:
            self.cut()
            self._ask_for_look()

    def verdict(self) -> Verdict:
        """Return what is asked of the machine now, and every trip since this was asked last.

        A guard that hangs is a trip as well. Where it looked just now and found nothing, nothing
        is judged a second time: the loop asks at every turn.
        """
        now_s = self._clock.wall_s()
        is_recent = now_s - self._looked_at_s <= RECENT_S
        is_quiet = self._reaction is Reaction.NOTHING and self._opened_at_s is None
        if is_recent and is_quiet and not self._interlocks.latch.has_unreported:
            return QUIET
        try:
            with self._lock.held():
                verdict = self._interlocks.judge(now_s)
                opened_at_s, self._opened_at_s = self._opened_at_s, None
                new_trips = self._interlocks.latch.take_unreported()
                verdict = replace(verdict, new_trips=new_trips, opened_at_s=opened_at_s)
        except CommandRefused:
            verdict = Verdict(Reaction.TRIP, HANGS)
        if verdict.reaction >= Reaction.TRIP:
            self._board_io.cut_beam()
        return replace(verdict, was_unwatched=self._was_unwatched(now_s))

    def _was_unwatched(self, now_s: WallSeconds) -> bool:
        """Return whether nobody looked so long that the box may have put the beam out."""
        has_heartbeat = Output.HEARTBEAT in self._interlocks.setup.wired
        return has_heartbeat and MONOSTABLE_S[0] < now_s - self._looked_at_s < inf

    @property
    def phase(self) -> Phase:
        """How far the box is."""
        return self._interlocks.phase

    @property
    def trouble(self) -> str | None:
        """A sentence where the board does less than it should, else None."""
        return self._board_io.trouble

    @property
    def report_key(self) -> tuple[object, ...]:
        """Something that differs whenever a person has to be shown something new."""
        box = self._interlocks
        trips = tuple((trip.rule.name, trip.reaction) for trip in box.latch.trips)
        step = (box.arming.step, box.senses.fan.step)
        relay = (box.required_action, box.relay.trouble)
        return (box.phase, *step, box.people.asked_for, relay, trips, self.trouble)

    def allow(self) -> None:
        """Let the beam's contact close at the next look; where it must not, it stays open.

        The verdict says why, and `may_burn` whether it has closed.
        """
        self._allowed_at_s = self._clock.wall_s()
        with suppress(CommandRefused), self._lock.held():
            self._interlocks.allow_beam(self._clock.wall_s())
        self._ask_for_look()

    def cut(self) -> None:
        """Open the beam's contact now, whoever holds what."""
        with self._lock.held_if_possible():
            self._interlocks.cut_beam()
            self._board_io.cut_beam()

    def may_burn(self) -> bool:
        """Return whether the contact is closed, has settled, and nothing speaks against a beam."""
        with suppress(CommandRefused), self._lock.held():
            return self._interlocks.may_burn(self._clock.wall_s())
        return False

    def begin_run(self, request: StartRequest) -> dict[str, object]:
        """Let a run start; raise CommandRefused; return what its record says."""
        with self._lock.held():
            return self._interlocks.begin_run(request, self._clock.wall_s())

    def resume_run(self) -> None:
        """Let a held run go on; raise CommandRefused."""
        with self._lock.held():
            self._interlocks.resume_run(self._clock.wall_s())

    def end_run(self) -> None:
        """Note that the run is over; the beam is put out."""
        self.cut()
        with self._lock.held_if_possible():
            self._interlocks.end_run()

    def note_fault(self) -> None:
        """Note that controller or cable have ended the run, so that the buzzer calls somebody."""
        self._interlocks.note_fault(self._clock.wall_s())

    def recall_end(self, ago_s: float) -> None:
        """Note that a run of an earlier life of the daemon ended so long ago."""
        with self._lock.held_if_possible():
            self._interlocks.people.recall_end(ago_s, self._clock.wall_s())

    def take_attendance_notes(self) -> Sequence[AttendanceNote]:
        """Return what was answered since this was asked last, for the records."""
        notes = self._interlocks.people.notes
        return [notes.popleft() for _ in range(len(notes))]

    def test_relay(self) -> bool:
        """Begin to test the safety relay; return whether that makes sense."""
        with suppress(CommandRefused), self._lock.held():
            return self._interlocks.test_relay(self._clock.wall_s())
        return False

    def is_relay_tested(self) -> bool:
        """Return whether no test of the safety relay is under way any more."""
        return not self._interlocks.relay.is_tested

    @property
    def can_test_relay(self) -> bool:
        """Whether this box is wired for it."""
        return self._interlocks.relay.can_be_tested

    @property
    def relay_trouble(self) -> str | None:
        """What a person is told after a test of the safety relay that failed."""
        return self._interlocks.relay.trouble

    def close(self) -> None:
        """Drive every output off and let go of the board."""
        self._board_io.close()

    def _look(self) -> None:
        opened = self._board_io.take_opened()
        edges_s = [edge.machine_s for name, edge in opened.items() if name in CUTS_ON_EDGE]
        if edges_s:
            self._board_io.cut_beam()
        begun_s = self._clock.wall_s()
        if STALE_AFTER_S < begun_s - self._looked_at_s < inf:
            self._judge_absence(begun_s)
        levels = self._board_io.read()
        now_s = self._clock.wall_s()  # after the reading: no level is newer than the look
        if now_s - begun_s > STALE_AFTER_S:  # halted while it read
            self._judge_absence(now_s)
            levels, now_s = self._board_io.read(), self._clock.wall_s()
        with self._lock.looking():
            orders = self._interlocks.look(Look(levels=levels, opened=tuple(opened), now_s=now_s))
            for output, is_on in orders.outputs.items():
                self._board_io.drive(output, is_on=is_on)
            reaction = orders.verdict.reaction
            known_s = () if self._opened_at_s is None else (self._opened_at_s,)
            self._opened_at_s = min((*known_s, *edges_s), default=None)
            self._looked_at_s = now_s
        if reaction > self._reaction:
            self._wake()
        self._reaction = reaction
        self._keep_proofs()

    def _judge_absence(self, now_s: WallSeconds) -> None:
        """Let it be the one cause that nobody has looked for long, before anything is read anew."""
        with self._lock.looking():
            if self._interlocks.judge_absence(now_s).reaction >= Reaction.TRIP:
                self._board_io.cut_beam()

    def _keep_proofs(self) -> None:
        """Last of all, and never more than once a day for a contact; the relay at each test."""
        proofs = self._interlocks.proofs
        for name in proofs.take_openings():
            at_utc = self._clock.utc_now()
            if proofs.note(name, at_utc[:10]) and self._records is not None:
                self._records.note_proof(name.value, at_utc)
        for has_passed in self._interlocks.relay.take_results():
            at_utc = self._clock.utc_now()
            self._interlocks.relay.note_day(at_utc[:10])
            if self._records is not None:
                self._records.note_relay_test(at_utc, has_passed=has_passed)

    def _note_beam(self, is_on: bool) -> None:
        self._interlocks.drive(is_on=is_on, now_s=self._clock.wall_s())

    def _fail(self) -> None:
        self._looked_at_s = -inf
        self._board_io.force_beam_off()
        with self._lock.looking():
            with suppress(Exception):
                self._interlocks.note_failed(self._clock.wall_s())
            with suppress(Exception):
                self._board_io.drive(Output.BUZZER, is_on=True)  # no look makes it beep any more
        self._wake()

    def _log_failure(self) -> None:
        now_s = self._clock.wall_s()
        if now_s - self._failure_logged_at_s < LOG_FAILURE_EVERY_S:
            self._failures_unlogged += 1
            return
        _log.exception("The guard has failed; %d times before, unlogged.", self._failures_unlogged)
        self._failure_logged_at_s, self._failures_unlogged = now_s, 0
