"""How the page names each interlock: its condition, its failing once it is past, the next step."""

from dataclasses import dataclass
from typing import Final

from etchweb.text.formatting import as_sentence
from etchwire.calls.interlock_report import InterlockReport, TripView


@dataclass(frozen=True, slots=True)
class Cause:
    """What the page says of one interlock.

    `label` is the condition that has to hold; `was` and `mended` tell of one that failed and is
    good again (“The lid was opened”, “closed again”); `next_step` is what a person does first.
    """

    label: str
    was: str
    mended: str
    next_step: str


STATES: Final = {
    "good": "as it should be",
    "bad": "not as it should be",
    "unread": "not read yet",
    "stale": "not heard from",
    "settling": "good again, for a moment",
}

# By the name that the interlock has on the wire.
CAUSES: Final = {
    "lid closed": Cause(
        "Lid closed", "The lid was opened", "closed again", "Close the lid."
    ),
    "lid contacts agree": Cause(
        "Both lid contacts agree", "The two lid contacts disagreed", "in agreement again",
        "Have the lid contacts put right.",
    ),
    "stop circuit closed": Cause(
        "Stop button released", "The stop button was pressed", "released",
        "Find out why it was pressed, then release the stop button.",
    ),
    "no flame or smoke": Cause(
        "No flame or smoke", "Fire or smoke was seen", "no longer seen",
        "Keep the lid shut until nothing glows or smokes.",
    ),
    "loop open when off": Cause(
        "Laser loop open when switched off", "The laser’s loop was closed although switched off",
        "open again", "Cut the laser’s mains supply now.",
    ),
    "loop closed when on": Cause(
        "Laser loop closed when switched on", "The laser’s loop was open although switched on",
        "as it should be again",
        "Check lid, stop button and safety relay; set the relay with its button.",
    ),
    "fumes extracted": Cause(
        "Fumes drawn off", "The air flow failed", "flowing again",
        "Check the fan, the hose and the filter.",
    ),
    "air still with the fan off": Cause(
        "Air still while the fan is off", "Air moved while the fan was off", "still again",
        "Have the air flow contact put right, or switch the other fan off.",
    ),
    "cool enough": Cause(
        "Cool enough", "The temperature switch opened", "closed again",
        "Let the machine cool, and find out why it got hot.",
    ),
    "button released": Cause(
        "Button at the machine released", "The button at the machine was stuck", "released",
        "Have the button at the machine put right.",
    ),
    "controller obeys": Cause(
        "Motion controller obeys", "The motion controller did not obey", "obeying again",
        "Cut the laser’s mains supply, then switch the controller off and on.",
    ),
    "daemon's loop alive": Cause(
        "Control program runs", "The program that steers the machine hung", "running again",
        "Wait until the machine rests.",
    ),
    "guard well": Cause(
        "Interlocks are watched", "The program that watches the interlocks failed",
        "running again", "Find out what stopped this computer.",
    ),
    "somebody answers": Cause(
        "Somebody answers the watch round", "Nobody answered the watch round",
        "answered since", "Go to the machine and press its button.",
    ),
}  # fmt: skip


def cause_of(name: str) -> Cause:
    """Return what is said of the interlock `name`; one of a later release is called by its name."""
    other = Cause(name.capitalize(), f"“{name}” was not so", "good again", "Put it right.")
    return CAUSES.get(name, other)


def is_good_again(trip: TripView, report: InterlockReport) -> bool:
    """Return whether what tripped is as it should be, so that only the reset is left."""
    return any(rule.name == trip.name and rule.state == "good" for rule in report.rules)


def trip_words(trip: TripView, report: InterlockReport) -> str:
    """Return what is wrong, in the present only while it is so."""
    if not is_good_again(trip, report):
        return as_sentence(trip.sentence)
    cause = cause_of(trip.name)
    return f"{cause.was}, {cause.mended}; it waits for a reset."
