"""The job's origin: set, found again, read back, and lost with its position epoch."""

from dataclasses import replace
from typing import Final

from etchdaemon.controller.controller_command import ControllerCommand, find_origin
from etchdaemon.errors import CommandRefused
from etchdaemon.guard.guard import Guard
from etchdaemon.ports import Clock, Records
from etchdaemon.run.position_epoch import EarlierOrigin
from etchdaemon.service.idle.controller_commands import SET_ORIGIN, TIMEOUT_S
from etchdaemon.service.job.spool import SpooledJob
from etchdaemon.service.link.bed import bed_of
from etchdaemon.service.link.machine import Machine
from etchwire.calls import snapshot

FIND_ORIGIN: Final = "find_origin"
WRITES_ORIGIN: Final = (SET_ORIGIN, FIND_ORIGIN)
NONE_EARLIER: Final = (
    "No earlier origin can be found again: that takes a machine that was homed before the origin"
    " was set, and is homed now. Set the origin."
)
OR_AGAIN: Final = "Or take {name} again."


class JobOrigin:
    """Looks after the origin: whoever ends the epoch, the box is disarmed and the log told."""

    def __init__(self, *, machine: Machine, guard: Guard, records: Records, clock: Clock) -> None:
        self._machine = machine
        self._guard = guard
        self._records = records
        self._clock = clock
        self._epoch_seen = machine.epoch.number
        self._earlier: EarlierOrigin | None = None  # the last that was set, if it can be found

    def recall(self, earlier: EarlierOrigin | None) -> None:
        """Take over the origin that was set last in an earlier life of the daemon."""
        self._earlier = earlier

    def look(self, *, is_under_way: bool) -> None:
        """Notice that another epoch has begun: nothing stays armed, and the logbook says why."""
        epoch = self._machine.epoch
        if epoch.number == self._epoch_seen:
            return
        if not is_under_way:
            try:
                self._guard.operator.disarm()
            except CommandRefused:  # the guard is late: it is asked again at the next look
                return
        self._epoch_seen = epoch.number
        self._records.note_epoch(epoch.because, at_utc=self._clock.utc_now())

    @property
    def found(self) -> EarlierOrigin | None:
        """The earlier origin that can be taken again now."""
        earlier = self._earlier
        return earlier if earlier is not None and earlier.is_there(self._machine.epoch) else None

    def finding(self) -> ControllerCommand:
        """Return what takes the earlier origin again; raise CommandRefused where there is none."""
        facts, found = self._machine.facts, self.found
        if found is None or facts is None or facts.firmware is None or not facts.report.is_idle:
            raise CommandRefused(NONE_EARLIER)
        return ControllerCommand(find_origin(found.place_mm), facts.firmware, TIMEOUT_S)

    def take(self, command: str) -> None:
        """Take the origin that `command` has written, as read back; raise CommandRefused."""
        machine, facts, found = self._machine, self._machine.facts, self.found
        if not machine.is_ready or facts is None:
            raise CommandRefused(machine.sentence)
        place_mm = facts.report.machine_mm
        if command == FIND_ORIGIN:
            place_mm = None if found is None else found.place_mm
        failure = machine.epoch.take_origin(facts, place_mm)
        origin, ends_mm = machine.epoch.origin, machine.epoch.ends_mm
        if origin is None:
            raise CommandRefused(f"{failure} {self.request or ''}".strip())
        self._earlier = None
        if ends_mm is not None:
            run = found.run if found is not None and command == FIND_ORIGIN else None
            self._earlier = EarlierOrigin(place_mm=origin.place_mm, ends_mm=ends_mm, run=run)
        self._records.note_origin(origin, ends_mm, at_utc=self._clock.utc_now())

    def note_run(self, number: int) -> None:
        """Take note that an etch begins from the origin: later it is named by that."""
        if self._earlier is not None:
            self._earlier = replace(self._earlier, run=number)

    @property
    def request(self) -> str | None:
        """The sentence that asks for an origin while none is known, else None."""
        facts, found = self._machine.facts, self.found
        can_home = facts is not None and facts.settings.can_home
        request_text = self._machine.epoch.request(can_home=can_home)
        if request_text is None or found is None:
            return request_text
        return f"{request_text} {OR_AGAIN.format(name=found.name)}"

    def objection(self, job: SpooledJob | None) -> str | None:
        """Return why `job` must not be started from where the origin is, or None."""
        bed, request = bed_of(self._machine), self.request
        if request is not None or job is None or bed is None:
            return request
        return bed.objection(job.sheet.motion)

    def view(self) -> snapshot.OriginView:
        """Return what the snapshot shows of it."""
        epoch, found = self._machine.epoch, self.found
        again = None
        if found is not None:
            x_mm, y_mm = found.place_mm
            again = snapshot.EarlierOrigin(name=found.name, x_mm=x_mm, y_mm=y_mm)
        return snapshot.OriginView(
            is_known=epoch.origin is not None,
            epoch=epoch.number,
            sentence=self.request or "",
            again=again,
        )
