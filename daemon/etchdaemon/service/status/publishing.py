"""When a new snapshot is shown: at once when something changed, now and then while it moves."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from etchdaemon.interlocks.start.starting import StartWish
from etchdaemon.ports import Clock, Guard, Records
from etchdaemon.run.overrides import Lever
from etchdaemon.run.states import UNDER_WAY, State, Wish, wishes_in
from etchdaemon.service.command_queue import Wishes
from etchdaemon.service.idle.controller_commands import chores_for
from etchdaemon.service.idle.interlock_commands import box_wishes_in
from etchdaemon.service.idle.job_origin import FIND_ORIGIN, JobOrigin
from etchdaemon.service.idle.jog_controller import Heading
from etchdaemon.service.job.inspection import Inspection
from etchdaemon.service.job.spool import SpooledJob
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.run.etch import Etch
from etchdaemon.service.status import snapshot

NEWS_EVERY_S: Final = 0.25  # of the wall's


@dataclass(frozen=True, slots=True)
class Scene:
    """What the loop has in hand at one moment."""

    state: State
    job: SpooledJob | None
    etch: Etch | None
    inspection: Inspection
    is_pending: bool  # a person waits for the answer of something the controller does
    heading: Heading
    origin: JobOrigin
    unfinished: Mapping[str, Any] | None  # the run that may be taken up again


class Publishing:
    """Builds snapshots of a scene and a machine, and hands them to those who watch."""

    def __init__(
        self, *, machine: Machine, wishes: Wishes, clock: Clock, records: Records, guard: Guard
    ) -> None:
        self._machine = machine
        self._guard = guard
        self._wishes = wishes
        self._clock = clock
        self._records = records
        self._shown: tuple[object, ...] = ()
        self._again_at_s = 0.0

    def show(self, scene: Scene, now_s: float) -> None:
        """Publish `scene` if it is news."""
        machine = self._machine
        what = (scene.state, scene.job, scene.etch, scene.is_pending, machine.link)
        seen = (
            *what,
            machine.sentence,
            machine.facts,
            machine.sequence is None,
            machine.epoch.number,
            machine.epoch.origin,
            scene.inspection.standing,
            scene.unfinished,
            self._guard.standing,
        )
        if seen == self._shown and now_s < self._again_at_s:
            return
        self._shown = seen
        objection = scene.origin.objection(scene.job)
        self._again_at_s = now_s + NEWS_EVERY_S * self._clock.seconds_per_wall_second
        at_utc = self._clock.utc_now()
        report = self._guard.report(day=at_utc[:10])
        self._wishes.publish(
            {
                "at_utc": at_utc,
                "state": scene.state.value,
                "sentence": snapshot.sentence_of(scene.state, scene.etch, machine, objection),
                "may": self._may(scene, report, is_placed=objection is None),
                "machine": snapshot.machine_of(machine, scene.origin) | scene.heading.shown(),
                "job": snapshot.job_of(scene.job, scene.inspection),
                "asked_at_start": self._asked_at_start(scene.job, at_utc),
                "run": snapshot.run_of(scene.etch, machine, self._clock),
                "unfinished": scene.unfinished,
                "interlocks": report,
                "logbook_trouble": self._records.trouble,
                "storage": self._records.storage,
                "time_factor": self._clock.seconds_per_wall_second,
            }
        )

    def _asked_at_start(self, job: SpooledJob | None, at_utc: str) -> Mapping[str, Any]:
        if job is None:
            return {}
        wish = StartWish(
            lasts_s=job.sheet.predicted_s / self._clock.seconds_per_wall_second,
            starts_at=datetime.fromisoformat(at_utc).astimezone(),
        )
        return self._guard.asked_at_start(wish)

    def _may(self, scene: Scene, report: Mapping[str, Any], *, is_placed: bool) -> list[str]:
        is_fit = self._machine.is_ready and not scene.is_pending and is_placed
        is_fit = is_fit and scene.inspection.can_be_armed
        may_start = is_fit and self._guard.why_not_start() is None
        may = [w.value for w in wishes_in(scene.state) if w is not Wish.START or may_start]
        if scene.state is State.ETCHING:
            may += [f"set_{lever.value}" for lever in Lever]
        if scene.state not in UNDER_WAY:
            may += self._may_between(scene)
        return [*may, *box_wishes_in(scene.state, report, is_machine_ready=is_fit)]

    def _may_between(self, scene: Scene) -> list[str]:
        if scene.is_pending or self._guard.watches_only_because is not None:
            return []
        may = scene.heading.may(scene.job)
        if self._machine.sequence is not None:
            return may
        if scene.unfinished is not None:
            may.append("reenter")
        if scene.origin.found is not None:
            may.append(FIND_ORIGIN)
        return [*may, *chores_for(self._machine.facts)]
