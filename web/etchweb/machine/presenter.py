"""The daemon's answers about the machine, turned into what the page *Machine* says: pure."""

from importlib.metadata import version
from typing import Final

from etchweb.machine.bed_drawing import bed_view, place_words
from etchweb.run.interlock_presenter import proofs_of
from etchweb.text.formatting import UNKNOWN, as_sentence, short_duration
from etchweb.text.page_states import SCENES
from etchweb.text.view import View
from etchwire.calls.interlock_report import InputView, OutputView, WiringReport
from etchwire.calls.machine import ControllerSettings, SettingView
from etchwire.calls.snapshot import MachineView, Snapshot

# The daemon's methods that the page has buttons for.
WISHES: Final = (
    "move_to", "move_by", "trace_outline", "set_origin", "find_origin", "home", "unlock", "stop",
)  # fmt: skip
UNSURE_BED: Final = (
    "This machine has not been homed: the box cannot know where its frame ends. Keep an eye on the"
    " head."
)
WIRED: Final = "Everything the box uses is wired."
NO_BED: Final = "The controller has not said yet how far the head can go."
FIND_ORIGIN: Final = "Use an earlier origin again (after homing)"
STATES: Final = {True: "As it should be.", False: "Not as it should be.", None: ""}
LINKS: Final = {
    "absent": "not there",
    "opening": "getting to know it",
    "ready": "ready",
    "refused": "not fit to etch",
    "lost": "lost",
}


def machine_view(
    snapshot: Snapshot, settings: ControllerSettings | None, wiring: WiringReport | None
) -> View:
    """Return what the whole page says; its live part is that of `live_view`."""
    machine, job, box = snapshot.machine, snapshot.job, snapshot.interlocks
    return {
        "live": live_view(snapshot, wiring),
        "port": machine.port or "not named yet",
        "firmware": _firmware(machine, settings),
        "bed": None if machine.bed is None else bed_view(machine.bed, machine.position_mm, job),
        "bed_words": _bed_words(machine),
        "is_moving": machine.is_moving,
        "job": None if job is None else job.title,
        "settings": [_setting(one) for one in settings.settings] if settings else [],
        "warnings": [as_sentence(one) for one in settings.warnings] if settings else [],
        "speed": settings.controller.sentence if settings else "",
        "inputs": wiring.inputs if wiring else (),
        "outputs": wiring.outputs if wiring else (),
        "wiring": [as_sentence(lack) for lack in box.lacks] or [WIRED],
        "proofs": proofs_of(box, is_due=True) + proofs_of(box, is_due=False),
        "version": version("etchwarden"),
    }


def _bed_words(machine: MachineView) -> str:
    if machine.bed is None:
        return NO_BED
    return "" if machine.bed.is_homed else UNSURE_BED


def live_view(snapshot: Snapshot, wiring: WiringReport | None) -> View:
    """Return the words that change while somebody looks, by the names of their places."""
    machine = snapshot.machine
    place_mm = machine.position_mm
    inputs = wiring.inputs if wiring else ()
    return {
        "sentence": as_sentence(machine.sentence),
        "link": LINKS[machine.link],
        "head": place_mm,
        "place": UNKNOWN if place_mm is None else place_words(place_mm),
        "moved": machine.moved,
        "is_moving": machine.is_moving,
        "why_not": why_not_words(snapshot),
        "again": _again_words(machine),
        "may": [wish for wish in WISHES if wish in snapshot.may or wish == "stop"],
        "can_try": wiring is not None and wiring.can_be_tried,
        "wrong": [f"input {one.name}" for one in inputs if one.is_safe is False],
        **{f"input {one.name}": _input_words(one) for one in inputs},
        **{f"output {one.name}": _output_words(one) for one in (wiring.outputs if wiring else ())},
    }


def why_not_words(snapshot: Snapshot) -> str:
    """Return why the head cannot be moved now, in a sentence; nothing where it can."""
    machine, may = snapshot.machine, snapshot.may
    reasons = (  # the first that holds is said
        ("move_to" in may, ""),
        (machine.is_moving, "The head is moving. The buttons work again when it rests."),
        (
            SCENES[snapshot.state] == "run",
            "An etch is running. The head can be moved once it has ended.",
        ),
        (machine.link != "ready", f"The controller is {LINKS[machine.link]}."),
        ("unlock" in may, "The controller is locked: home the machine, or unlock it."),
        (machine.bed is None, NO_BED),
    )
    return next((words for holds, words in reasons if holds), "The controller is busy.")


def _again_words(machine: MachineView) -> str:
    """Return the words of the button that takes an earlier origin again."""
    again = machine.origin.again
    if again is None:
        return FIND_ORIGIN
    return f"Take {again.name} again ({again.x_mm:z.1f}, {again.y_mm:z.1f} mm)"


def away_view(sentence: str) -> View:
    """Return the live part while the daemon does not answer; a stop may be asked for even so."""
    return {
        "sentence": f"{as_sentence(sentence)} If something moves that should not, use the stop"
        " circuit at the machine.",
        "link": UNKNOWN,
        "head": None,
        "place": UNKNOWN,
        "moved": "",
        "is_moving": False,
        "why_not": "The box does not answer.",
        "again": FIND_ORIGIN,
        "may": ["stop"],
        "can_try": False,
        "wrong": [],
    }


def _firmware(machine: MachineView, settings: ControllerSettings | None) -> str:
    versions = [machine.firmware, settings.version if settings else None]
    return ", ".join(filter(None, versions)) or UNKNOWN


def _setting(one: SettingView) -> View:
    return {
        "name": one.name,
        "number": f"setting {' and '.join(map(str, one.numbers))}",
        "value": " × ".join(_value(value) for value in one.values),
        "unit": one.unit,
        "is_good": one.is_good,
        "sentence": one.sentence,
    }


def _value(value: str | None) -> str:
    if value is None:
        return UNKNOWN
    return value.rstrip("0").rstrip(".") if "." in value else value


def _input_words(one: InputView) -> str:
    if one.is_closed is None or one.for_s is None:
        return one.words
    contact = "closed" if one.is_closed else "open"
    state = STATES[one.is_safe]
    return f"{one.words} Contact {contact} for {short_duration(one.for_s)}. {state}".strip()


def _output_words(one: OutputView) -> str:
    if one.is_tried_for_s is not None:
        return f"Being tried: {short_duration(one.is_tried_for_s)} left."
    if not one.is_wired:
        return ""
    return "On." if one.is_on else "Off."
