"""The guard: its lookout, and what people ask of it."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

from etchdaemon.errors import CommandRefused, GuardHangs
from etchdaemon.guard.interlock_monitor import InterlockMonitor
from etchdaemon.guard.lock import HANGS
from etchdaemon.interlocks.checks.wiring_gaps import watches_only_because
from etchdaemon.interlocks.report import report_of
from etchdaemon.interlocks.start.starting import StartRequest, confirmations_for

MOST_MISSED: Final = 10  # reports, each after a tenth of a second of waiting


class Guard(InterlockMonitor):
    """Keeps the lookout, and answers people; implements `ports.Guard`."""

    _reported: dict[str, Any] | None = None
    _missed = 0  # reports in a row that could not be had

    @property
    def watches_only_because(self) -> str | None:
        """Why the box only watches; None where it may do more."""
        return watches_only_because(self._interlocks.setup.wired)

    def why_not_start(self) -> str | None:
        """Return what stands in the way of a start as far as the box goes, or None."""
        try:
            with self._lock.held():
                self._interlocks.refuse_start(self._clock.wall_s())
        except CommandRefused as refused:
            return str(refused)
        return None

    def confirmations_for(self, request: StartRequest) -> dict[str, str | None]:
        """Return what people have to confirm with such a start."""
        box = self._interlocks
        return confirmations_for(request, box.attendance, wired=box.setup.wired)

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
        """Try an output of that name for a moment, or leave off; raise CommandRefused."""
        with self._lock.held():
            self._interlocks.try_output(name, is_on=is_on, now_s=self._clock.wall_s())
        self._ask_for_look()

    def wiring(self) -> dict[str, Any]:
        """Return every input as it is and every output as it was driven: plain JSON values."""
        with self._lock.held():
            box = self._interlocks
            driven = self._board_io.driven
            return box.wiring.report(driven, is_free=box.is_free, now_s=self._clock.wall_s())

    def report(self, *, day: str) -> dict[str, Any]:
        """Return what a person is shown: plain JSON values.

        A guard that is late, as on a busy board, shows what it showed last. Raise GuardHangs when
        it stays away for a second or two: the daemon had better be started again.
        """
        try:
            with self._lock.held():
                report = report_of(self._interlocks, day=day, now_s=self._clock.wall_s())
                self._reported = report | {"board_trouble": self.trouble}
        except CommandRefused:
            self._missed += 1
            if self._reported is None or self._missed > MOST_MISSED:
                raise GuardHangs(HANGS) from None
        else:
            self._missed = 0
        return self._reported

    def recall_proofs(self, days: Mapping[str, str]) -> None:
        """Take the days on which contacts were last seen to open, by their inputs' names."""
        with self._lock.held():
            self._interlocks.proofs.recall(days)

    def demand_proofs(self, proven: Collection[str], *, is_required: bool) -> None:
        """Ask for what was not `proven` at the present pins; `is_required`: before arming."""
        with self._lock.held():
            self._interlocks.proofs.demand(proven, is_required=is_required)

    def recall_relay_test(self, last: Mapping[str, Any]) -> None:
        """Take the `day` of the safety relay's last test, and whether it `has_passed`."""
        with self._lock.held():
            self._interlocks.relay.recall(last)
