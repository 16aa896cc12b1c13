"""The wiring test: every input with the time since it changed, and one output tried at a time."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.inputs import Input, Look, Output
from etchdaemon.interlocks.limits import FAN_RUNS_ON_AFTER_S, STALE_AFTER_S
from etchwire.calls.interlock_report import InputView, OutputView, WiringReport

TRIAL_S: Final = 5.0
WITHHELD_S: Final = FAN_RUNS_ON_AFTER_S - 0.5  # long enough to hear both relays fall

# An input's label, and what it means to a person: closed, open.
INPUT_WORDS: Final[Mapping[Input, tuple[str, str, str]]] = {
    Input.LID: ("Lid", "The lid is closed.", "The lid is open."),
    Input.LID_SECOND: ("Lid, second contact", "The lid is closed.", "The lid is open."),
    Input.AIR_FLOW: ("Air flow", "Air flows.", "No air flows."),
    Input.PRESSURE_ABOVE_LOW: (
        "Pressure, low end", "The extraction draws.", "The extraction draws too little.",
    ),
    Input.PRESSURE_BELOW_HIGH: (
        "Pressure, high end", "The filter lets air through.", "The filter is full.",
    ),
    Input.FLAME: ("Flame and smoke", "Nothing burns.", "It burns, or the wire is cut."),
    Input.STOP_CIRCUIT: (
        "Stop circuit", "No stop button is pressed.", "A stop button is pressed.",
    ),
    Input.TEMPERATURE: ("Temperature", "It is cool enough.", "It is too hot."),
    Input.ARM_BUTTON: ("Button at the machine", "It is pressed.", "It is not pressed."),
    Input.LOOP_CLOSED: (
        "End of the laser’s loop", "The laser may burn.", "The laser cannot burn.",
    ),
}  # fmt: skip

# An output's label, and what a person should see or hear when it is tried.
OUTPUT_WORDS: Final[Mapping[Output, tuple[str, str]]] = {
    Output.BEAM_ENABLE: (
        "Beam enable",
        "Never tried by hand: “Get ready” closes it for a tenth of a second and looks whether the"
        " loop follows.",
    ),
    Output.EXTRACTION: (
        "Extraction",
        "The fan runs for five seconds; after one or two, “Air flow” must say that air flows.",
    ),
    Output.LAMP: ("Lamp", "The lamp at the machine is lit for five seconds."),
    Output.BUZZER: ("Buzzer", "The buzzer sounds for five seconds."),
    Output.HEARTBEAT: (
        "Heartbeat",
        "The heartbeat stops for a moment: its relay must click open, and the safety relay with"
        " it. Press the button at the machine afterwards.",
    ),
}

_MEANS_NOTHING: Final = frozenset({Input.ARM_BUTTON})
_FOLLOWS: Final = {
    Input.AIR_FLOW: Output.EXTRACTION,
    Input.PRESSURE_ABOVE_LOW: Output.EXTRACTION,
    Input.LOOP_CLOSED: Output.BEAM_ENABLE,
}


class Contact(NamedTuple):
    """The state of an input, since when, and when it was last read; each look makes one."""

    is_closed: bool
    since_s: float
    read_at_s: float


@dataclass(frozen=True, slots=True)
class Trial:
    """An output that is tried: driven on, or withheld where it is the heartbeat."""

    output: Output
    until_s: float


class WiringTest:
    """Keeps the state of every input, and the one trial that is under way."""

    def __init__(self, wired: frozenset[Input | Output]) -> None:
        self.trial: Trial | None = None
        self._wired = wired
        self._contacts: dict[Input, Contact] = {}

    def take(self, look: Look) -> None:
        """Take in one look; an input that opened for an instant has changed just now."""
        for name, level in look.levels.items():
            before = self._contacts.get(name)
            has_stayed = before is not None and before.is_closed is level.is_closed
            if before is not None and has_stayed and name not in look.opened:
                since_s = before.since_s
            else:
                since_s = look.now_s
            self._contacts[name] = Contact(level.is_closed, since_s, level.at_s)

    def begin(self, name: str, *, is_on: bool, now_s: WallSeconds, is_fan_on: bool) -> None:
        """Try the output `name`, or end its trial; raise CommandRefused."""
        output = next((one for one in Output if one.value == name), None)
        if output is None or output not in self._wired:
            raise CommandRefused(f"No output “{name}” is wired here.")
        if output is Output.BEAM_ENABLE:
            raise CommandRefused(
                "The beam's contact is never tried by hand. Arming tests it: for a tenth of a"
                " second, with nothing being fed."
            )
        if not is_on:
            self.trial = None if self.trial is None else Trial(self.trial.output, now_s)
            return
        if output is Output.EXTRACTION and is_fan_on:
            raise CommandRefused("The extraction runs already; wait until it has stopped.")
        lasts_s = WITHHELD_S if output is Output.HEARTBEAT else TRIAL_S
        self.trial = Trial(output, now_s + lasts_s)

    def advance(self, now_s: WallSeconds, *, is_free: bool) -> Output | None:
        """Return the output if its trial ends now, by time or because the box is not free."""
        trial = self.trial
        if trial is None or (is_free and now_s < trial.until_s):
            return None
        self.trial = None
        return trial.output

    @property
    def tried_output(self) -> Output | None:
        """The output that is being tried, if any."""
        return None if self.trial is None else self.trial.output

    def report(
        self, driven: Mapping[Output, bool], *, is_free: bool, now_s: WallSeconds
    ) -> WiringReport:
        """Return every input as read and every output as `driven`.

        `is_free`: nothing is etched, armed or tripped, so that outputs may be tried.
        """
        return WiringReport(
            inputs=tuple(self._input_view(name, driven, now_s) for name in Input),
            outputs=tuple(self._output_view(name, driven, is_free, now_s) for name in Output),
            can_be_tried=is_free,
        )

    def _input_view(
        self, name: Input, driven: Mapping[Output, bool], now_s: WallSeconds
    ) -> InputView:
        label, closed_words, open_words = INPUT_WORDS[name]
        is_wired, contact = name in self._wired, self._contacts.get(name)
        if contact is None or now_s - contact.read_at_s > STALE_AFTER_S:
            return InputView(
                name=name.value,
                label=label,
                is_wired=is_wired,
                is_closed=None,
                is_safe=False if is_wired else None,
                for_s=None,
                words="It cannot be read." if is_wired else "Not wired.",
            )
        return InputView(
            name=name.value,
            label=label,
            is_wired=is_wired,
            is_closed=contact.is_closed,
            is_safe=_is_safe(name, contact, driven),
            for_s=round(max(now_s - contact.since_s, 0.0), 1),
            words=closed_words if contact.is_closed else open_words,
        )

    def _output_view(
        self, name: Output, driven: Mapping[Output, bool], is_free: bool, now_s: WallSeconds
    ) -> OutputView:
        label, words = OUTPUT_WORDS[name]
        is_wired = name in self._wired
        trial = self.trial if self.tried_output is name else None
        return OutputView(
            name=name.value,
            label=label,
            is_wired=is_wired,
            is_on=driven.get(name, False),
            can_be_tried=is_free and is_wired and name is not Output.BEAM_ENABLE,
            is_tried_for_s=None if trial is None else round(max(trial.until_s - now_s, 0.0), 1),
            words=words if is_wired else "Not wired.",
        )


def _is_safe(name: Input, contact: Contact, driven: Mapping[Output, bool]) -> bool | None:
    """Return whether it is as it should be; None for what has no better and no worse."""
    if name in _MEANS_NOTHING:
        return None
    if name in _FOLLOWS:
        return contact.is_closed is driven.get(_FOLLOWS[name], False)
    return contact.is_closed
