"""The daemon's answers about the machine, turned into what the page *Machine* says: pure."""

from collections.abc import Mapping, Sequence
from importlib.metadata import version
from typing import Any, Final

from etchweb.machine.bed_drawing import bed_view, place_words
from etchweb.run.interlock_presenter import proofs_of
from etchweb.text.formatting import UNKNOWN, as_sentence, short_duration

View = dict[str, Any]
Table = Mapping[str, Any]

# The daemon's methods that the page has buttons for.
WISHES: Final = (
    "move_to", "trace_outline", "set_origin", "find_origin", "home", "unlock", "stop",
)  # fmt: skip
UNSURE_BED: Final = (
    "This machine has not been homed, so the box counts its travel from the origin and cannot know"
    " where the frame ends. Keep an eye on the head."
)
WIRED: Final = "Everything that the box makes use of is wired."
NO_BED: Final = "The controller has not said yet how far the head can go."
FIND_ORIGIN: Final = "Take an earlier origin again (after homing)"
STATES: Final = {True: "As it should be.", False: "Not as it should be.", None: ""}
LINKS: Final = {
    "absent": "not there",
    "opening": "getting to know it",
    "ready": "ready",
    "refused": "not fit to etch",
    "lost": "lost",
}


def machine_view(snapshot: Table, settings: Table, wiring: Table) -> View:
    """Return what the whole page says; its live part is that of `live_view`."""
    machine, job = snapshot["machine"], snapshot["job"]
    bed = bed_view(machine, job)
    box = snapshot.get("interlocks") or {}
    return {
        "live": live_view(snapshot, wiring),
        "port": machine["port"] or "not named yet",
        "firmware": _firmware(machine, settings),
        "bed": bed,
        "bed_words": NO_BED if bed is None else "" if bed["is_homed"] else UNSURE_BED,
        "is_moving": machine.get("is_moving", False),
        "job": None if job is None else job["title"],
        "settings": [_setting(one) for one in settings.get("settings", ())],
        "warnings": [as_sentence(one) for one in settings.get("warnings", ())],
        "speed": settings.get("controller", {}).get("sentence", ""),
        "inputs": wiring.get("inputs", ()),
        "outputs": wiring.get("outputs", ()),
        "wiring": [as_sentence(lack) for lack in box.get("lacks", ())] or ([WIRED] if box else []),
        "proofs": proofs_of(box, is_due=True) + proofs_of(box, is_due=False),
        "version": version("etchwarden"),
    }


def live_view(snapshot: Table, wiring: Table) -> View:
    """Return the words that change while somebody looks, by the names of their places."""
    machine = snapshot["machine"]
    place_mm = machine["position_mm"]
    return {
        "sentence": as_sentence(machine["sentence"]),
        "link": LINKS[machine["link"]],
        "head": place_mm,
        "place": UNKNOWN if place_mm is None else place_words(place_mm),
        "moved": machine.get("moved", ""),
        "is_moving": machine.get("is_moving", False),
        "again": _again_words(machine),
        "may": [wish for wish in WISHES if wish in snapshot["may"] or wish == "stop"],
        "can_try": wiring.get("can_be_tried", False),
        **{f"input {one['name']}": _input_words(one) for one in wiring.get("inputs", ())},
        **{f"output {one['name']}": _output_words(one) for one in wiring.get("outputs", ())},
    }


def _again_words(machine: Table) -> str:
    """Return the words of the button that takes an earlier origin again."""
    again = (machine.get("origin") or {}).get("again")
    if again is None:
        return FIND_ORIGIN
    return f"Take {again['name']} again ({again['x_mm']:z.1f}, {again['y_mm']:z.1f} mm)"


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
        "again": FIND_ORIGIN,
        "may": ["stop"],
        "can_try": False,
    }


def _firmware(machine: Table, settings: Table) -> str:
    told = [machine["firmware"], settings.get("version")]
    return ", ".join(one for one in told if one) or UNKNOWN


def _setting(one: Table) -> View:
    numbers: Sequence[int] = one["numbers"]
    return {
        "name": one["name"],
        "number": f"setting {' and '.join(map(str, numbers))}",
        "value": " × ".join(_value(value) for value in one["values"]),
        "unit": one["unit"],
        "is_good": one["is_good"],
        "sentence": one["sentence"],
    }


def _value(value: str | None) -> str:
    if value is None:
        return UNKNOWN
    return value.rstrip("0").rstrip(".") if "." in value else value


def _input_words(one: Table) -> str:
    if one["is_closed"] is None:
        return str(one["words"])
    contact = "closed" if one["is_closed"] else "open"
    state = STATES[one["is_safe"]]
    return f"{one['words']} Contact {contact} for {short_duration(one['for_s'])}. {state}".strip()


def _output_words(one: Table) -> str:
    if one["is_tried_for_s"] is not None:
        return f"Being tried: {short_duration(one['is_tried_for_s'])} left."
    if not one["is_wired"]:
        return ""
    return "On." if one["is_on"] else "Off."
