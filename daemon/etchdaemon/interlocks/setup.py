"""The wiring and settings of one box."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from etchdaemon.interlocks.attendance.watch_rounds import AttendanceRules
from etchdaemon.interlocks.conditions.extraction import ExtractionTimes
from etchdaemon.interlocks.conditions.samples import Condition
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.limits import STALE_AFTER_S
from etchdaemon.interlocks.rules.rule_table import RuleChange

EVERYTHING: Final = (frozenset(Input) | frozenset(Output)) - {
    Input.PRESSURE_ABOVE_LOW,
    Input.PRESSURE_BELOW_HIGH,  # the pair is another way to show air flow
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What is wired at a box, and the few settings of its interlocks."""

    wired: frozenset[Input | Output]
    changes: Mapping[str, RuleChange] = field(default_factory=dict)
    extraction: ExtractionTimes = field(default_factory=ExtractionTimes)
    attendance: AttendanceRules = field(default_factory=AttendanceRules)
    stable_s: float = 0.5  # of a good reading before it counts as good again
    stale_after_s: float = STALE_AFTER_S
    beam_enable_settle_s: float = 0.0  # for a laser module whose supply is cut to wake

    @property
    def lock_timeout_s(self) -> float:
        """How long one thread waits for what the other holds, before that counts as hanging."""
        return self.stale_after_s * 0.4  # a tenth of a second, but where practice is hurried

    @property
    def flame_confirm_s(self) -> float:
        """How long a flame must last before it is an emergency, in seconds; 0: at once."""
        change = self.changes.get(Condition.NO_FIRE.value)
        return 0.0 if change is None else change.flame_confirm_s

    @property
    def inputs(self) -> frozenset[Input]:
        """The inputs that are wired."""
        return frozenset(part for part in self.wired if isinstance(part, Input))

    @property
    def shows_air(self) -> bool:
        """Whether any input proves the extraction."""
        return bool(self.wired & {Input.AIR_FLOW, Input.PRESSURE_ABOVE_LOW})


# The practice machine's box, unless a file describes another: there are no fumes to wait for, and
# in fast practice a second of wall-clock time is many of machine time.
PRACTICE: Final = Setup(
    wired=EVERYTHING,
    extraction=ExtractionTimes(purge_s=0.5, clearing_s=6.0),
    stable_s=0.1,
)
