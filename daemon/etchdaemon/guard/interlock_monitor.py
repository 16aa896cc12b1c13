"""The interlock monitor: reads the board, judges, and drives the outputs, the beam's first."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from math import inf
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.guard.board_io import BoardIo
from etchdaemon.guard.contact_test_records import ContactTestRecords
from etchdaemon.guard.failure_log import FailureLog
from etchdaemon.guard.lock import HANGS, GuardLock
from etchdaemon.interlocks.clocks import MachineSeconds, WallSeconds
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import CUTS_ON_EDGE, Input, Level, Look, Output
from etchdaemon.interlocks.limits import MONOSTABLE_S
from etchdaemon.interlocks.rules.rule_table import Reaction
from etchdaemon.interlocks.rules.verdict import Verdict
from etchdaemon.ports import Clock

RECENT_S: Final = 0.05
QUIET: Final = Verdict(Reaction.NOTHING)


class InterlockMonitor:
    """Joins the interlocks and the board; `look` is its one step.

    `look` belongs to one thread. `verdict` and `cut_beam` may be called from the loop's, and each
    thread notices when the other hangs: the loop's sign of life and the samples grow stale.
    """

    def __init__(
        self,
        interlocks: InterlockEngine,
        board_io: BoardIo,
        *,
        lock: GuardLock,
        clock: Clock,
        test_records: ContactTestRecords,
        wake: Callable[[], None],
    ) -> None:
        """Begin with nothing seen; `wake` rings the loop and returns at once."""
        self._interlocks = interlocks
        self._board_io = board_io
        self._lock = lock
        self._clock = clock
        self._test_records = test_records
        self._wake = wake
        self._failure_log = FailureLog()
        self._reaction = Reaction.NOTHING
        self._opened_at_s: MachineSeconds | None = None
        self._looked_at_s = -inf
        self.looks = 0  # how many have ended, failed ones included

    def look(self) -> None:
        """Look once and drive the outputs; never raises, a failure trips everything."""
        try:
            self._look()
        except Exception:  # noqa: BLE001 - whatever it is, nothing is watched any more
            self._trip_on_failure()  # the beam first, the log afterwards
            self._failure_log.note(self._clock.wall_s())
        self.looks += 1

    def _look(self) -> None:
        """Look once, in the order of a trip.

        The beam is cut first, on the edge, before anything is read or judged. Then the outputs are
        driven, the beam's before the others; the loop is woken, which stops the controller; and
        what waits for a disk comes last.
        """
        opened = self._board_io.take_opened()
        edges_s = [edge.machine_s for name, edge in opened.items() if name in CUTS_ON_EDGE]
        if edges_s:
            self._board_io.cut_beam()
        levels, now_s = self._read_board()
        look = Look(levels=levels, opened=tuple(opened), now_s=now_s)
        reaction = self._judge_and_drive(look, edges_s)
        if reaction > self._reaction:
            self._wake()
        self._reaction = reaction
        self._test_records.write_new()

    def _read_board(self) -> tuple[Mapping[Input, Level], WallSeconds]:
        """Return the levels and a time that none of them is newer than.

        Where the process was halted, before the reading or during it, that is judged first, by the
        levels from before the halt: the halt is then the one cause of the trip.
        """
        begun_s = self._clock.wall_s()
        if self._interlocks.setup.stale_after_s < begun_s - self._looked_at_s < inf:
            self._judge_absence(begun_s)
        levels = self._board_io.read()
        now_s = self._clock.wall_s()
        if now_s - begun_s > self._interlocks.setup.stale_after_s:
            self._judge_absence(now_s)
            levels, now_s = self._board_io.read(), self._clock.wall_s()
        return levels, now_s

    def _judge_absence(self, now_s: WallSeconds) -> None:
        with self._lock.looking():
            if self._interlocks.judge_absence(now_s).reaction >= Reaction.TRIP:
                self._board_io.cut_beam()

    def _judge_and_drive(self, look: Look, edges_s: Sequence[MachineSeconds]) -> Reaction:
        with self._lock.looking():
            outcome = self._interlocks.look(look)
            for output, is_on in outcome.outputs.items():
                self._board_io.drive(output, is_on=is_on)
            known_s = () if self._opened_at_s is None else (self._opened_at_s,)
            self._opened_at_s = min((*known_s, *edges_s), default=None)
            self._looked_at_s = look.now_s
        return outcome.verdict.reaction

    def _trip_on_failure(self) -> None:
        self._looked_at_s = -inf
        self._board_io.force_beam_off()
        with self._lock.looking():
            with suppress(Exception):
                self._interlocks.note_failed(self._clock.wall_s())
            with suppress(Exception):
                self._board_io.drive(Output.BUZZER, is_on=True)  # no look makes it beep any more
        self._wake()

    def verdict(self) -> Verdict:
        """Return what the loop has to do now, with every trip since the last call.

        A monitor that hangs is a trip as well. Nothing is judged again where the last look is
        recent and found nothing: the loop calls this at every turn.
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
        """Return whether the last look is so long ago that the monostable may have cut the beam."""
        has_heartbeat = Output.HEARTBEAT in self._interlocks.setup.wired
        return has_heartbeat and MONOSTABLE_S[0] < now_s - self._looked_at_s < inf

    def cut_beam(self) -> None:
        """Open the beam's contact now, even where the lock cannot be had."""
        with self._lock.held_if_possible():
            self._interlocks.cut_beam()
            self._board_io.cut_beam()
