"""Jogging between runs: start a move, stop it, and report how it ended."""

from typing import Final

from etchdaemon.controller.controller_command import RESTARTED, ControllerCommand
from etchdaemon.controller.opening import From
from etchdaemon.controller.orders import Order
from etchdaemon.errors import CommandRefused
from etchdaemon.guard.guard import Guard
from etchdaemon.interlocks.rules.rule_table import Reaction
from etchdaemon.interlocks.rules.verdict import Verdict
from etchdaemon.run import position_epoch
from etchdaemon.run.measuring import Measuring
from etchdaemon.run.moving import STOPPED, Moving
from etchdaemon.service.idle.moves import AnyMove, measuring_for, move_for, moves_for
from etchdaemon.service.job.spool import SpooledJob
from etchdaemon.service.link.bed import bed_of, ends_of
from etchdaemon.service.link.machine import Machine
from etchwire.calls.machine import Measure

UNDER_WAY: Final = "The head is moving."
MEASURED: Final = "The controller is measured."
ARRIVED: Final = "The head is where it was sent."
HOMED: Final = "The machine is homed: it knows where its ends are."
NOT_READY: Final = "The head can be moved only when nothing else is going on at the machine."


class JogController:
    """Sends the head somewhere with the beam off; a stop breaks off moves and homing alike.

    Whatever was armed is put back first: a head that moves is no machine that somebody has just
    looked at. The lid may be open, as it may be at any time without a beam; what is an emergency
    stops the head and keeps it where it is.
    """

    def __init__(self, machine: Machine, guard: Guard) -> None:
        self.outcome_text = ""  # of the last move: where it is, or why it is not there
        self._machine = machine
        self._guard = guard
        self._emergency = ""
        self._ready_sentence = ""  # what was said of the machine before the head set out
        self._has_homed = False  # but where that was is not read yet
        self._stopped_because = ""

    @property
    def is_under_way(self) -> bool:
        """Whether the head moves, by a move or by homing."""
        sequence = self._machine.sequence
        return isinstance(sequence, (Moving, Measuring)) or (
            isinstance(sequence, ControllerCommand) and sequence.is_homing
        )

    @property
    def sentence(self) -> str:
        """What a person is told of the last move, or of the one under way."""
        return UNDER_WAY if self.is_under_way else self.outcome_text

    def may(self, job: SpooledJob | None) -> list[str]:
        """Return what may be asked of the head now, while nothing is being etched."""
        if self.is_under_way:
            return ["stop"]
        if not self._machine.is_ready:
            return []
        return moves_for(self._machine.facts, bed_of(self._machine), job)

    def begin(self, call: AnyMove, *, job: SpooledJob | None, now_s: float) -> None:
        """Begin a move; raise CommandRefused."""
        machine = self._machine
        if self._emergency:
            raise CommandRefused(self._emergency)
        if not machine.is_ready:
            raise CommandRefused(NOT_READY if machine.link.value == "ready" else machine.sentence)
        bed = bed_of(machine)
        moving: Moving | Measuring
        if isinstance(call, Measure):
            moving = measuring_for(machine=machine, bed=bed)
        else:
            moving = move_for(call, machine=machine, bed=bed, job=job)
        self._guard.operator.disarm()
        self.outcome_text = ""
        self._ready_sentence, machine.sentence = machine.sentence, UNDER_WAY
        machine.epoch.note_move()
        machine.begin(moving, now_s)

    def apply_verdict(self, verdict: Verdict, now_s: float) -> None:
        """Stop the head for an emergency."""
        is_emergency = verdict.reaction >= Reaction.EMERGENCY
        self._emergency = verdict.sentence if is_emergency else ""
        if is_emergency:
            self.stop(verdict.sentence, now_s)

    def stop(self, because: str, now_s: float) -> bool:
        """Bring the head to rest, if it moves; return whether it did."""
        sequence = self._machine.sequence
        if isinstance(sequence, (Moving, Measuring)):
            self._machine.carry_out(sequence.stop(because or STOPPED, now_s), now_s)
            return True
        if self.is_under_way:  # homing hears nothing else, and it loses the place anyway
            self._stopped_because = because or STOPPED
            self._machine.carry_out((Order.DISCARD_OUTPUT, Order.RESET), now_s)
            return True
        return False

    def moved(self, moving: Moving | Measuring, now_s: float) -> None:
        """Go on after a move: all is well, or the controller has to be looked at anew."""
        self.outcome_text = moving.failure or (ARRIVED if isinstance(moving, Moving) else MEASURED)
        self._machine.sentence, self._ready_sentence = self._ready_sentence, ""
        if moving.failure is None:
            return
        is_restarted = moving.failure == RESTARTED
        start = From.UNASKED_GREETING if is_restarted else From.UNSURE
        self._machine.open_again(start, now_s)

    def homed(self, failure: str | None) -> None:
        """Note what came of homing; the place is read when the controller is asked anew.

        Either way the coordinates mean other places now.
        """
        because, self._stopped_because = self._stopped_because, ""
        self.outcome_text = because or failure or HOMED
        self._has_homed = failure is None
        ended = position_epoch.HOMED if failure is None else position_epoch.NOT_HOMED
        self._machine.epoch.end(ended)

    def look(self) -> None:
        """Take note that the controller has been asked anew what it is and where it stands."""
        facts = self._machine.facts
        if self._has_homed and self._machine.is_ready and facts is not None:
            self._machine.epoch.ends_mm = ends_of(facts)
        self._has_homed = False

    def handle_port_loss(self, sentence: str) -> None:
        """Note that the controller is gone."""
        if self._ready_sentence:
            self.outcome_text = sentence
        self._ready_sentence = self._stopped_because = ""
        self._has_homed = False
