"""When a new snapshot is shown: at once when something changed, now and then while it moves."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from etchdaemon.guard.guard import Guard
from etchdaemon.ports import Clock, Records
from etchdaemon.run.overrides import Override
from etchdaemon.run.states import UNDER_WAY, Command, State, commands_in
from etchdaemon.service.command_queue import CommandQueue
from etchdaemon.service.idle.controller_commands import commands_for
from etchdaemon.service.idle.interlock_commands import interlock_commands_in
from etchdaemon.service.idle.job_origin import FIND_ORIGIN, JobOrigin
from etchdaemon.service.idle.jog_controller import JogController
from etchdaemon.service.job.inspection import Inspection
from etchdaemon.service.job.people_asked import asked_at_start
from etchdaemon.service.job.spool import SpooledJob
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.run.etch import Etch
from etchdaemon.service.run.run_sequencer import RunSequencer
from etchdaemon.service.status import snapshot
from etchwire.calls.interlock_report import InterlockReport
from etchwire.calls.snapshot import AskedAtStart, Snapshot, UnfinishedView

NEWS_EVERY_S: Final = 0.25  # wall-clock


@dataclass(frozen=True, slots=True)
class LoopState:
    """What the loop has in hand at one moment."""

    state: State
    job: SpooledJob | None
    sequencer: RunSequencer | None
    inspection: Inspection
    is_pending: bool  # a person waits for the answer of something the controller does
    jog: JogController
    origin: JobOrigin
    unfinished: UnfinishedView | None  # the run that may be taken up again

    @property
    def etch(self) -> Etch | None:
        """The run under way, or the last one."""
        return None if self.sequencer is None else self.sequencer.etch


class Publishing:
    """Builds snapshots of a scene and a machine, and hands them to those who watch."""

    def __init__(
        self,
        *,
        machine: Machine,
        commands: CommandQueue,
        clock: Clock,
        records: Records,
        guard: Guard,
    ) -> None:
        self._machine = machine
        self._guard = guard
        self._commands = commands
        self._clock = clock
        self._records = records
        self._published: tuple[object, ...] = ()
        self._again_at_s = 0.0

    def show(self, loop_state: LoopState, now_s: float) -> None:
        """Publish `loop_state` if it is news, or if somebody is to be answered."""
        shown = self._shown_at_once(loop_state)
        is_news = shown != self._published or self._commands.has_decided
        if not is_news and now_s < self._again_at_s:
            return
        self._published = shown
        self._again_at_s = now_s + NEWS_EVERY_S * self._clock.seconds_per_wall_second
        self._commands.publish(self._snapshot(loop_state))

    def _shown_at_once(self, loop_state: LoopState) -> tuple[object, ...]:
        """Return what differs as soon as something has changed that cannot wait."""
        machine = self._machine
        return (
            loop_state.state,
            loop_state.job,
            loop_state.etch,
            loop_state.is_pending,
            loop_state.inspection.standing,
            loop_state.unfinished,
            machine.link,
            machine.sentence,
            machine.facts,
            machine.sequence is None,
            machine.epoch.number,
            machine.epoch.origin,
            self._guard.operator.report_key,
        )

    def _snapshot(self, loop_state: LoopState) -> Snapshot:
        machine = self._machine
        objection = loop_state.origin.objection(loop_state.job)
        at_utc = self._clock.utc_now()
        report = self._guard.operator.report(day=at_utc[:10])
        sequencer = loop_state.sequencer
        why_not_resume = None if sequencer is None else sequencer.why_not_resume()
        asked = self._asked_at_start(loop_state.job)
        may = self._may(
            loop_state,
            report,
            is_placed=objection is None,
            may_resume=why_not_resume is None,
            is_too_late=bool(asked.too_late),
        )
        return Snapshot(
            sequence=0,  # it gets its number where it is shown
            at_utc=at_utc,
            state=loop_state.state.value,
            sentence=snapshot.sentence_of(loop_state.state, loop_state.etch, machine, objection),
            may=tuple(may),
            machine=snapshot.machine_of(machine, loop_state.origin, loop_state.jog),
            job=snapshot.job_of(loop_state.job, loop_state.inspection),
            asked_at_start=asked,
            run=snapshot.run_of(
                loop_state.etch,
                machine,
                self._clock,
                why_not_resume=why_not_resume,
                late_end=self._late_end(loop_state, at_utc),
            ),
            unfinished=loop_state.unfinished,
            interlocks=report,
            logbook_trouble=self._records.trouble,
            storage=self._records.storage,
            time_factor=self._clock.seconds_per_wall_second,
        )

    def _asked_at_start(self, job: SpooledJob | None) -> AskedAtStart:
        if job is None:
            return AskedAtStart()
        return asked_at_start(self._guard, self._clock, predicted_s=job.sheet.predicted_s)

    def _late_end(self, loop_state: LoopState, at_utc: str) -> str | None:
        """Return that a held run, resumed now, would end after closing time; None if not."""
        etch = loop_state.etch
        left_s = None if etch is None else snapshot.remaining_s(etch)
        if loop_state.state is not State.HELD or left_s is None:
            return None
        return self._guard.operator.late_end(
            goes_on_at=datetime.fromisoformat(at_utc).astimezone(),
            lasts_s=left_s / self._clock.seconds_per_wall_second,
        )

    def _may(
        self,
        loop_state: LoopState,
        report: InterlockReport,
        *,
        is_placed: bool,
        may_resume: bool,
        is_too_late: bool,
    ) -> list[str]:
        is_fit = self._machine.is_ready and not loop_state.is_pending and is_placed
        is_fit = is_fit and loop_state.inspection.can_be_armed and not is_too_late
        may_start = is_fit and self._guard.operator.why_not_start() is None
        would_work = {Command.START: may_start, Command.RESUME: may_resume}
        may = [w.value for w in commands_in(loop_state.state) if would_work.get(w, True)]
        if loop_state.state is State.ETCHING and not _is_card(loop_state.job):
            may += [f"set_{override.value}" for override in Override]
        if loop_state.state not in UNDER_WAY:
            may += self._may_when_idle(loop_state)
        return [*may, *interlock_commands_in(loop_state.state, report, is_machine_ready=is_fit)]

    def _may_when_idle(self, loop_state: LoopState) -> list[str]:
        if loop_state.is_pending or self._guard.watches_only_because is not None:
            return []
        may = loop_state.jog.may(loop_state.job)
        if self._machine.sequence is not None:
            return may
        if loop_state.unfinished is not None:
            may.append("reenter")
        if loop_state.origin.found is not None:
            may.append(FIND_ORIGIN)
        return [*may, *commands_for(self._machine.facts)]


def _is_card(job: SpooledJob | None) -> bool:
    return job is not None and job.sheet.card is not None
