"""The box's calls for somebody, during an etch and after its end, and the answers."""

from collections import deque
from dataclasses import dataclass
from math import inf
from typing import Final

from etchdaemon.interlocks.attendance.looks_after_end import LooksAfterEnd, look_sentence
from etchdaemon.interlocks.attendance.watch_rounds import (
    AttendanceRules,
    WatchRounds,
    round_sentence,
)
from etchdaemon.interlocks.clocks import WallSeconds
from etchwire.record import LOOK, ROUND

AT_THE_MACHINE: Final = "at the machine"
FROM_AFAR: Final = "from a phone or a terminal"


@dataclass(frozen=True, slots=True)
class AttendanceNote:
    """An answer, or that none came, for a run's record; `kind` as in `etchwire.record`."""

    kind: str
    text: str


class AttendanceCalls:
    """Watch rounds and looks after the end; `notes` are for the run's record, oldest first."""

    def __init__(self, rules: AttendanceRules, *, has_button: bool) -> None:
        self.rounds = WatchRounds()
        self.looks = LooksAfterEnd()
        self.notes: deque[AttendanceNote] = deque()
        self._rules = rules
        self._has_button = has_button

    def begin(self, now_s: WallSeconds) -> None:
        """Begin the rounds: a run starts or resumes."""
        self.rounds = self.rounds.begin(now_s)

    def end(self) -> None:
        """End the rounds: the run is over."""
        self.rounds = self.rounds.end()

    def recall_end(self, ago_s: float, now_s: WallSeconds) -> None:
        """Ask for the remaining looks after a run that ended `ago_s` before `now_s`."""
        self.looks = LooksAfterEnd.recalled(
            ended_at_s=WallSeconds(now_s - ago_s),
            every_min=self._rules.look_every_min,
            now_s=now_s,
        )

    def advance(
        self,
        now_s: WallSeconds,
        *,
        is_etching: bool,
        is_beam_on: bool,
        pressed_at_s: WallSeconds | None,
    ) -> None:
        """Begin or miss the calls that are due; a press of the button since a call answers it."""
        self.rounds = self.rounds.advance(self._rules, now_s)
        before, every_min = self.looks, self._rules.look_every_min
        self.looks = before.advance(
            is_etching=is_etching, is_beam_on=is_beam_on, every_min=every_min, now_s=now_s
        )
        if before.is_asking and before.number != self.looks.number:
            self.notes.append(
                AttendanceNote(LOOK, f"Nobody answered look {before.number} after the end.")
            )
        if self._has_button and pressed_at_s is not None and pressed_at_s > self._asked_at_s:
            self.answer(AT_THE_MACHINE, pressed_at_s)

    def answer(self, where: str, now_s: WallSeconds) -> None:
        """Take an answer to the open call, given at `where`; without a call it is ignored."""
        if self.rounds.is_asking:
            self.rounds = self.rounds.answer(now_s)
            self.notes.append(AttendanceNote(ROUND, f"Somebody answered the watch round {where}."))
        elif self.looks.is_asking:
            text = (
                f"Somebody looked after the end, and answered {where} (look {self.looks.number})."
            )
            self.looks = self.looks.answer()
            self.notes.append(AttendanceNote(LOOK, text))

    @property
    def open_call(self) -> str | None:
        """The sentence of the call that waits for an answer; None mostly."""
        if self.rounds.is_asking:
            return round_sentence(self._rules, has_button=self._has_button)
        if not self.looks.is_asking:
            return None
        every_min = self._rules.look_every_min
        return look_sentence(self.looks, every_min=every_min, has_button=self._has_button)

    @property
    def _asked_at_s(self) -> float:
        """When the open call began; infinity where there is none."""
        calls_at_s = (self.rounds.asked_at_s, self.looks.asked_at_s)
        return min((at_s for at_s in calls_at_s if at_s is not None), default=inf)
