"""The controller and the beam's contact as one thing that can be given orders."""

from collections.abc import Sequence as Listed
from enum import Enum
from typing import Final

from etchdaemon.controller.events import AlarmRaised, Event, Greeted, StatusReported
from etchdaemon.controller.facts import Facts, refusals, warnings
from etchdaemon.controller.opening import From, Opening
from etchdaemon.controller.orders import Order, Orders, SendLine, Sequence
from etchdaemon.controller.window import ReceiveWindow
from etchdaemon.errors import PortLost
from etchdaemon.ports import BeamEnable, PortOpener
from etchdaemon.run import position_epoch
from etchdaemon.run.position_epoch import PositionEpoch
from etchdaemon.run.reply_timeouts import ReplyTimeouts
from etchdaemon.service.link.measured import MeasuredController
from etchdaemon.service.link.wire import Wire
from etchwire.controller.profile import REPORT_EVERY_S

REOPEN_EVERY_S: Final = 1.0
ASK_AGAIN_EVERY_S: Final = 5.0


class LinkState(Enum):
    """How the daemon stands with the controller."""

    ABSENT = "absent"
    OPENING = "opening"
    READY = "ready"
    REFUSED = "refused"
    LOST = "lost"


class Machine:
    """Opens the port, gets to know the controller, and carries out what sequences order.

    One sequence at a time is in hand. `report` is the last status report; `moves_head` is set
    while the head moves on our word. Every method that touches an open port raises PortLost;
    `handle_port_loss` is the answer to that.
    """

    def __init__(self, *, open_port: PortOpener, beam: BeamEnable, port_name: str) -> None:
        self.port_name = port_name
        self.is_practice = False
        self.measured = MeasuredController()
        self.link = LinkState.ABSENT
        self.sentence = f"Looking for the machine on {port_name or 'a port not named yet'}."
        self.facts: Facts | None = None
        self.report: StatusReported | None = None
        self.sequence: Sequence | None = None
        self.greeting: Greeted | None = None
        self.is_beam_allowed = False
        self.epoch = PositionEpoch()
        self.moves_head = False
        self._open_port = open_port
        self._beam = beam
        self._wire: Wire | None = None
        self._again_at_s = 0.0

    @property
    def is_ready(self) -> bool:
        """Whether the controller is known, fit and has nothing in hand."""
        return self.link is LinkState.READY and self.sequence is None

    @property
    def window(self) -> ReceiveWindow:
        """What is unanswered, and what the controller can take now: nothing without a port."""
        return ReceiveWindow(1) if self._wire is None else self._wire.link.window

    @property
    def reply_timeouts(self) -> ReplyTimeouts:
        """Whether the controller is silent, or owes an answer."""
        return ReplyTimeouts() if self._wire is None else self._wire.reply_timeouts

    def held_bytes(self, report: StatusReported) -> int | None:
        """Return how much the controller had when it reported, None if it did not say."""
        return None if self._wire is None else self._wire.link.held_bytes(report)

    @property
    def asked_at_s(self) -> float:
        """When the report heard last was asked for, at the earliest."""
        return 0.0 if self._wire is None else self._wire.heard_was_asked_at_s

    def read_events(self, now_s: float) -> Listed[Event]:
        """Return what the controller has said; look for the port when it is not open."""
        if self._wire is None:
            if now_s >= self._again_at_s:
                self._try_to_open(now_s)
            return ()
        return self._wire.read_events(now_s)

    def tell(self, event: Event, now_s: float) -> None:
        """Take note of `event`, and let the sequence in hand know.

        One event after another: what the first of a batch sets going has to hear the rest.
        """
        match event:
            case StatusReported():
                self.report = event
                self.epoch.note_report(event, is_ours=self.moves_head)
            case Greeted():
                self.greeting = event
                self.epoch.note_greeting(now_s)
            case AlarmRaised():
                self.epoch.end(position_epoch.ALARMED)
        if self.sequence is not None:
            self.carry_out(self.sequence.handle_event(event, now_s), now_s)

    def begin(self, sequence: Sequence, now_s: float) -> None:
        """Take `sequence` in hand, instead of any other."""
        self.sequence = sequence
        self.carry_out(sequence.begin(now_s), now_s)

    def tick(self, now_s: float) -> Sequence | None:
        """Let time pass; return the sequence that has come to its end, if one has."""
        sequence = self.sequence
        if sequence is None:
            return None
        if not sequence.is_over:
            self.carry_out(sequence.tick(now_s), now_s)
        if not sequence.is_over:
            return None
        self.sequence = None
        if isinstance(sequence, Opening):
            self._conclude(sequence, now_s)
        return sequence

    def open_again(self, start: From, now_s: float) -> None:
        """Get to know the controller anew."""
        if start is not From.REST:
            self.link = LinkState.OPENING
            self.sentence = "Getting to know the controller."
        self.reply_timeouts.forget()
        self.begin(Opening(start, self.greeting), now_s)

    def carry_out(self, orders: Orders, now_s: float) -> None:
        """Do what a sequence wants done, in its order."""
        for order in orders:
            match order:
                case Order.CUT_BEAM:
                    self.cut_beam()
                case Order.ALLOW_BEAM:
                    self._beam.allow()
                    self.is_beam_allowed = True
                case SendLine(line=line) if self._wire is not None:
                    self._wire.send((line,))
                case Order() if self._wire is not None:
                    if order is Order.RESET:
                        self.epoch.note_reset(now_s)
                    self._wire.obey(order, now_s)

    def cut_beam(self) -> None:
        """Open the beam's contact."""
        self._beam.cut()
        self.is_beam_allowed = False

    def put(self, byte: bytes) -> None:
        """Write a real-time byte that is no order."""
        if self._wire is not None:
            self._wire.put(byte)

    def send(self, lines: Listed[bytes], now_s: float) -> None:
        """Write `lines` with the report request that is due."""
        if self._wire is None:
            return
        if self.sequence is not None:
            every_s = self.sequence.polls_every_s
        else:
            every_s = None if self.facts is None else REPORT_EVERY_S
        if every_s is not None:
            self._wire.poll(every_s, now_s)
        self._wire.send(lines)

    def watch(self, event: Event, now_s: float) -> None:
        """Judge `event` while no run is under way: what makes it worth getting to know anew."""
        if self.sequence is not None:  # it hears for itself
            return
        if isinstance(event, Greeted):
            self.open_again(From.UNASKED_GREETING, now_s)
        elif isinstance(event, AlarmRaised) or self._has_changed_its_state(event):
            self.open_again(From.UNSURE, now_s)

    def look_after(self, now_s: float) -> None:
        """While no run is under way: notice silence, and ask again where nobody answered."""
        if self.sequence is not None or self._wire is None:
            return
        if self.facts is not None and self.reply_timeouts.is_silent:
            self.epoch.end(position_epoch.SILENT)
            self.open_again(From.UNSURE, now_s)
        elif now_s < self._again_at_s:
            return
        elif self.facts is None:
            self.open_again(From.PORT_OPENED, now_s)
        elif self.report is not None and self.report.has_closed_door:
            self.open_again(From.UNSURE, now_s)

    def handle_port_loss(self, sentence: str, now_s: float) -> None:
        """Cut the beam, let go of the port and look for it again."""
        self.cut_beam()
        if self._wire is not None:
            self._wire.close()
            self.link = LinkState.LOST
            self.epoch.end(position_epoch.LOST)
        self._wire = None
        self.sentence = sentence
        self.sequence = None
        self.report = None
        self.facts = None
        self.greeting = None
        self._again_at_s = now_s + REOPEN_EVERY_S

    def give_up_on(self, sentence: str, now_s: float) -> None:
        """Call the controller unfit for now, and ask again later."""
        self.epoch.end(position_epoch.SILENT)
        self.link = LinkState.REFUSED
        self.sentence = sentence
        self.facts = None
        self.report = None
        self._again_at_s = now_s + ASK_AGAIN_EVERY_S

    def _has_changed_its_state(self, event: Event) -> bool:
        if self.facts is None or not isinstance(event, StatusReported):
            return False
        last_report = self.facts.report
        return (event.state, event.substate) != (last_report.state, last_report.substate)

    def _try_to_open(self, now_s: float) -> None:
        try:
            self._wire = Wire(self._open_port())
        except PortLost as lost:
            self.sentence = str(lost)
            self._again_at_s = now_s + REOPEN_EVERY_S
            return
        self.epoch.note_opened(now_s)
        self.open_again(From.PORT_OPENED, now_s)

    def _conclude(self, opening: Opening, now_s: float) -> None:
        if opening.was_unanswered:
            self.epoch.end(position_epoch.SILENT)
        if opening.facts is None:
            self.give_up_on(opening.failure or "", now_s)
            return
        self.facts = opening.facts
        self._again_at_s = now_s + REOPEN_EVERY_S
        reasons = refusals(self.facts)
        self.link = LinkState.REFUSED if reasons else LinkState.READY
        self.sentence = " ".join(reasons or ("The machine is ready.", *warnings(self.facts)))
        if self.facts.build is not None and self._wire is not None:
            self._wire.count_by(
                self.facts.build.receive_bytes, empty_bytes=self.facts.report.receive_free_bytes
            )
