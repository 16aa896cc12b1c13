"""The safety relay (K1): whether it has fallen, and the test whether it still can.

A welded K1 goes unnoticed until K2 is welded too. So it is tested where that costs nothing: after
a complete etch, at rest, with the controller's beam off and K2 still closed, the heartbeat stops
and the loop has to open. After that K1 is down, and only the button at the machine sets it.
"""

from collections.abc import Collection, Mapping
from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.limits import HEARTBEAT_OPENS_WITHIN_S, MONOSTABLE_S
from etchwire.calls.interlock_report import ProofView

NAME: Final = "safety_relay"  # beside the inputs, in the report of proofs
STAYS_OPEN_S: Final = 0.05  # an opening that is shorter is a loose wire, not a relay
DOWN: Final = "The safety relay is down."
PRESS_THEN_ARM: Final = "Close the lid, press the button at the machine, then arm."
FAILED: Final = (
    "The safety relay did not fall when the heartbeat stopped: its contact (K1) or the heartbeat's"
    " (K3) is stuck, and could not put the beam out. Have both put right: nothing starts before"
    " the test at arming passes."
)
PASSED: Final = "The safety relay was last seen to fall on {day}."
UNTESTED: Final = (
    "The safety relay has not been tested yet. The next etch that ends complete tests it."
)
CANNOT: Final = (
    "A safety relay (K1) that is stuck is not found by this box: that takes the heartbeat output"
    " and the loop input."
)


class SafetyRelay:
    """Keeps K1's last result and whether K1 is down; judges the test that is under way."""

    def __init__(self, wired: Collection[Input | Output]) -> None:
        self.can_be_tested = {Output.HEARTBEAT, Input.LOOP_CLOSED} <= set(wired)
        self._is_held_by_heartbeat = Output.HEARTBEAT in wired
        self.has_failed = False
        self.is_down = False  # without a heartbeat it falls; a press of the button sets it
        self._has_button = Input.ARM_BUTTON in wired
        self._day: str | None = None  # of the last test
        self._results: list[bool] = []
        self._began_s: WallSeconds | None = None
        self._open_since_s: WallSeconds | None = None
        self._beat_at_s: WallSeconds | None = None
        self._beats_since_s: WallSeconds | None = None

    @property
    def is_tested(self) -> bool:
        """Whether a test is under way: the heartbeat is withheld and the loop has to open."""
        return self._began_s is not None

    @property
    def required_action(self) -> str | None:
        """What has to be done at the machine before arming, in a sentence; else None."""
        if not (self.is_down and self._has_button):
            return None
        return f"{FAILED if self.has_failed else DOWN} {PRESS_THEN_ARM}"

    @property
    def trouble(self) -> str | None:
        """The sentence for a person after a test that failed, else None."""
        return FAILED if self.has_failed else None

    def begin_test(self, now_s: WallSeconds) -> None:
        """Begin a test; K2 must be closed and the controller's beam off."""
        self._began_s, self._open_since_s = now_s, None

    def abandon_test(self) -> None:
        """Abandon the test: once K2 opens, the loop shows nothing of K1."""
        self._began_s = None

    def advance_test(self, *, is_closed: bool | None, now_s: WallSeconds) -> bool:
        """Take a look at the loop (None: unread); return whether that has ended a test."""
        if self._began_s is None:
            return False
        if is_closed is None:
            self.abandon_test()
        elif is_closed:
            self._open_since_s = None
            if now_s - self._began_s > HEARTBEAT_OPENS_WITHIN_S:
                self.note_result(has_passed=False)
        elif self._open_since_s is None:
            self._open_since_s = now_s
        elif now_s - self._open_since_s >= STAYS_OPEN_S:
            self.note_result(has_passed=True)
        return not self.is_tested

    def note_result(self, *, has_passed: bool) -> None:
        """Take the result of a test, of this one or of the one at arming."""
        self.abandon_test()
        self.has_failed = not has_passed
        if has_passed:
            self._fall()
        self._results.append(has_passed)

    def note_beat(self, now_s: WallSeconds, *, is_beating: bool) -> None:
        """Note at every look whether the heartbeat beats; after a pause K1 has fallen.

        There is a pause too where nobody looks, as in a process that was halted. On a box without
        a heartbeat the relay does not fall for it.
        """
        if not self._is_held_by_heartbeat:
            return
        if self._beat_at_s is not None and now_s - self._beat_at_s >= MONOSTABLE_S[1]:
            self._fall()
        if is_beating:
            self._beat_at_s = now_s
            if self._beats_since_s is None:
                self._beats_since_s = now_s

    def note_press(self, pressed_at_s: WallSeconds | None) -> None:
        """Note the last press of the button, which sets K1 while the heartbeat beats."""
        if pressed_at_s is None or self._beats_since_s is None:
            return
        if pressed_at_s > self._beats_since_s:
            self.is_down = False

    def take_results(self) -> tuple[bool, ...]:
        """Return the results since the last call: True for a test that passed."""
        if not self._results:
            return ()
        results, self._results = tuple(self._results), []
        return results

    def note_day(self, day: str) -> None:
        """Note the day of a test (as 2026-11-28)."""
        self._day = day

    def recall(self, last: Mapping[str, object]) -> None:
        """Take the logbook's last test, where nothing newer is known.

        `last` holds `day` and `has_passed`, or nothing where there was no test.
        """
        if last and self._day is None:
            self._day, self.has_failed = str(last["day"]), not last["has_passed"]

    def record(self) -> dict[str, object]:
        """Return the last test for a run's record."""
        return {"day": self._day, "has_passed": None if self._day is None else not self.has_failed}

    def report(self) -> ProofView:
        """Return the state for people."""
        return ProofView(name=NAME, day=self._day, is_due=self.has_failed, sentence=self._sentence)

    def _fall(self) -> None:
        self.is_down, self._beats_since_s = True, None

    @property
    def _sentence(self) -> str:
        if not self.can_be_tested:
            return CANNOT
        if self.has_failed:
            return FAILED
        return UNTESTED if self._day is None else PASSED.format(day=self._day)
