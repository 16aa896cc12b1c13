"""What is shown of the interlocks, and of the inputs and outputs behind them."""

from collections.abc import Mapping

from etchwire.wire_value import WireValue


class RuleView(WireValue):
    """How one interlock stands: `state` is good, or why it is not.

    `lasts_s` is how long it has been so; `changed` says what this box has set otherwise;
    `is_required` is whether the box asks for it in its present phase.
    """

    name: str
    state: str
    sentence: str | None
    lasts_s: float | None
    changed: str | None
    is_required: bool


class TripView(WireValue):
    """An interlock that has failed, until somebody resets it."""

    name: str
    reaction: str
    phase: str
    sentence: str
    is_reset_at_machine: bool


class ArmingView(WireValue):
    """How far arming has come; `start_within_s` is the time left for a start."""

    step: str
    is_under_way: bool
    is_possible: bool
    failed_because: str | None
    start_within_s: float | None


class QuestionView(WireValue):
    """A question of the checklist that is open; `kind` is what its answer looks like."""

    key: str
    text: str
    kind: str
    choices: tuple[str, ...]
    how_often: str


class ProofView(WireValue):
    """When a safety contact was last seen to open, or the safety relay was tested."""

    name: str
    day: str | None
    is_due: bool
    sentence: str


class InterlockReport(WireValue):
    """The interlocks as people are shown them.

    `request` and `asked_for` are what somebody is asked to do, at the machine and within reach
    of it; `lacks` says what this box is not wired for, `changes` why its rules differ.
    """

    phase: str
    is_beam_enabled: bool
    rules: tuple[RuleView, ...]
    trips: tuple[TripView, ...]
    arming: ArmingView
    request: str | None
    is_somebody_there: bool
    questions: tuple[QuestionView, ...]
    extraction: str | None
    is_round_asking: bool
    is_look_asked: bool
    asked_for: str | None
    is_attended_only: bool
    is_watch_only: bool
    seen_to_open: tuple[ProofView, ...]
    lacks: tuple[str, ...]
    changes: Mapping[str, str]
    board_trouble: str | None


class InputView(WireValue):
    """One input as it is read; None where it cannot be, or where neither state is safer."""

    name: str
    label: str
    is_wired: bool
    is_closed: bool | None
    is_safe: bool | None
    for_s: float | None
    words: str


class OutputView(WireValue):
    """One output as it was driven."""

    name: str
    label: str
    is_wired: bool
    is_on: bool
    can_be_tried: bool
    is_tried_for_s: float | None
    words: str


class WiringReport(WireValue):
    """Every input and output of the box."""

    inputs: tuple[InputView, ...]
    outputs: tuple[OutputView, ...]
    can_be_tried: bool
