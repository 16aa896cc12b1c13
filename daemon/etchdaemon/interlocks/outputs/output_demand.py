"""What each output is driven to at one look, from what the parts of the box ask for."""

from dataclasses import dataclass

from etchdaemon.interlocks.inputs import Output
from etchdaemon.interlocks.rules.rule_table import Reaction
from etchdaemon.interlocks.start.arming import Arming


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputDemand:
    """What the rules, the run, arming, the tests and the extraction ask of the outputs."""

    reaction: Reaction  # the worst of all rules and trips
    is_beam_requested: bool  # by a run
    arming: Arming
    is_relay_tested: bool
    tried_output: Output | None  # by hand, in the wiring test
    is_fan_on: bool

    @property
    def is_heartbeat_withheld(self) -> bool:
        """Whether the heartbeat stops, which opens K3 and with it K1.

        In an emergency it stops because K2 may be welded, and nobody has seen it.
        """
        return (
            self.reaction is Reaction.EMERGENCY
            or self.arming.withholds_heartbeat
            or self.is_relay_tested
            or self.tried_output is Output.HEARTBEAT
        )

    def levels(
        self, *, heartbeat: bool, is_lamp_on: bool, is_buzzer_on: bool
    ) -> dict[Output, bool]:
        """Return every output's level in the order of driving: the beam before a slow fan."""
        is_safe = self.reaction < Reaction.TRIP
        is_beam_on = is_safe and (self.is_beam_requested or self.arming.tests_beam)
        return {
            Output.BEAM_ENABLE: is_beam_on,
            Output.EXTRACTION: self.is_fan_on,
            Output.LAMP: is_lamp_on or self.tried_output is Output.LAMP,
            Output.BUZZER: is_buzzer_on or self.tried_output is Output.BUZZER,
            Output.HEARTBEAT: heartbeat,
        }
