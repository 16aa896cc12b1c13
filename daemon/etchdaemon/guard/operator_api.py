"""What people ask of the guard, and what the page shows of the box."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Final

from etchdaemon.errors import CommandRefused, GuardHangs
from etchdaemon.guard.board_io import BoardIo
from etchdaemon.guard.lock import HANGS, GuardLock
from etchdaemon.interlocks.attendance.watch_rounds import late_end
from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.report import report_of
from etchdaemon.interlocks.start.starting import StartRequest, confirmations_for
from etchdaemon.ports import Clock
from etchwire.calls.interlock_report import InterlockReport, WiringReport

MOST_MISSED: Final = 10  # reports, each after a tenth of a second of waiting


class OperatorApi:
    """The interlocks as people see them; every call raises CommandRefused where the guard hangs."""

    def __init__(
        self,
        interlocks: InterlockEngine,
        board_io: BoardIo,
        *,
        lock: GuardLock,
        clock: Clock,
        ask_for_look: Callable[[], None],
    ) -> None:
        self._interlocks = interlocks
        self._board_io = board_io
        self._lock = lock
        self._clock = clock
        self._ask_for_look = ask_for_look
        self._last_report: InterlockReport | None = None
        self._missed = 0  # reports in a row that could not be had

    def why_not_start(self) -> str | None:
        """Return what forbids a start at the box, or None."""
        return self._why_not(self._interlocks.refuse_start)

    def why_not_resume(self) -> str | None:
        """Return what forbids at the box that a held run is resumed, or None."""
        return self._why_not(self._interlocks.refuse_resume)

    def confirmations_for(self, request: StartRequest) -> dict[str, str | None]:
        """Return what people have to confirm with such a start."""
        box = self._interlocks
        return confirmations_for(request, box.attendance_rules, wired=box.setup.wired)

    def late_end(self, *, goes_on_at: datetime, lasts_s: float) -> str | None:
        """Return that a run would end after closing time, last look included; None if it would not.

        `goes_on_at` is local time.
        """
        return late_end(self._interlocks.attendance_rules, goes_on_at=goes_on_at, lasts_s=lasts_s)

    def arm(
        self, answers: Mapping[str, object], *, day: str, with_heartbeat_test: bool = False
    ) -> None:
        """Begin arming; raise CommandRefused."""
        with self._lock.held():
            self._interlocks.arm(
                answers,
                day=day,
                now_s=self._clock.wall_s(),
                with_heartbeat_test=with_heartbeat_test,
            )

    def disarm(self) -> None:
        """Undo arming."""
        with self._lock.held():
            self._interlocks.disarm()

    def reset(self, names: Sequence[str]) -> None:
        """Reset the trips of these names; raise CommandRefused."""
        with self._lock.held():
            self._interlocks.reset(names, self._clock.wall_s())

    def answer_round(self) -> None:
        """Note that somebody is within reach; raise CommandRefused."""
        with self._lock.held():
            self._interlocks.answer_round(self._clock.wall_s())

    def note_bed_touched(self) -> None:
        """Ask the questions about the bed again."""
        with self._lock.held():
            self._interlocks.checklist.note_bed_touched()

    def try_output(self, name: str, *, is_on: bool) -> None:
        """Try an output of that name for a moment, or stop trying; raise CommandRefused."""
        with self._lock.held():
            self._interlocks.try_output(name, is_on=is_on, now_s=self._clock.wall_s())
        self._ask_for_look()

    def wiring(self) -> WiringReport:
        """Return every input as read and every output as driven."""
        with self._lock.held():
            box = self._interlocks
            driven = self._board_io.driven
            return box.wiring.report(driven, is_free=box.is_free, now_s=self._clock.wall_s())

    def report(self, *, day: str) -> InterlockReport:
        """Return what the page shows of the interlocks on `day` (as 2026-11-28).

        Where the guard is late, as on a busy board, that is the last report. Raise GuardHangs
        after a second or two of it: the daemon then has to be restarted.
        """
        try:
            with self._lock.held():
                self._last_report = report_of(
                    self._interlocks,
                    day=day,
                    now_s=self._clock.wall_s(),
                    board_trouble=self._board_io.trouble,
                )
        except CommandRefused:
            self._missed += 1
            if self._last_report is None or self._missed > MOST_MISSED:
                raise GuardHangs(HANGS) from None
        else:
            self._missed = 0
        return self._last_report

    def _why_not(self, refuse: Callable[[WallSeconds], None]) -> str | None:
        try:
            with self._lock.held():
                refuse(self._clock.wall_s())
        except CommandRefused as refused:
            return str(refused)
        return None

    @property
    def report_key(self) -> tuple[object, ...]:
        """A value that differs whenever `report` has something new to show at once."""
        box = self._interlocks
        trips = tuple((trip.rule.name, trip.reaction) for trip in box.latch.trips)
        step = (box.arming.step, box.sampler.fan.step)
        relay = (box.required_action, box.relay.trouble)
        return (box.phase, *step, box.attendance.open_call, relay, trips, self._board_io.trouble)
