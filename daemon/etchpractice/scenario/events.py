"""What can happen in a scenario: one table, from an event's words to the verb that does it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from etchpractice.box.board import BEAM_CONTACT, HEARTBEAT_CONTACT, SAFETY_RELAY


class Actor(StrEnum):
    """Who or what an event happens to."""

    BOARD = "board"  # verbs of etchpractice.box.board
    MACHINE = "machine"  # verbs of etchpractice.machine and of its faults
    CABLE = "cable"  # verbs of etchpractice.link.cable
    HOUSE = "house"  # verbs of the practice machine's process
    CARD = "card"  # what happens to the card under the daemon's logbook
    PROCESS = "process"  # signals
    PROGRAM = "program"  # the daemon as a program, with its files
    PERSON = "person"  # what is asked of the daemon
    PHONE = "phone"  # what is asked of the page


@dataclass(frozen=True, slots=True)
class EventKind:
    """A kind of event: `takes` are parameters to be given, `fixed` are not."""

    actor: Actor
    verb: str
    said: str
    takes: Mapping[str, type] = field(default_factory=dict)
    fixed: Mapping[str, object] = field(default_factory=dict)
    optional: Mapping[str, type] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that is to happen."""

    kind: EventKind
    given: Mapping[str, object]

    @property
    def parameters(self) -> dict[str, object]:
        """What the verb is called with."""
        return {**self.kind.fixed, **self.given}

    def __str__(self) -> str:
        """Return the sentence that tells of it."""
        return self.kind.said.format(**self.given)


_BOARD, _MACHINE, _CABLE = Actor.BOARD, Actor.MACHINE, Actor.CABLE
_HOUSE, _CARD, _PROCESS = Actor.HOUSE, Actor.CARD, Actor.PROCESS
_PROGRAM, _PERSON = Actor.PROGRAM, Actor.PERSON


def _contact(name: str, said: str, *, is_closed: bool) -> EventKind:
    return EventKind(_BOARD, "set_input", said, fixed={"name": name, "level": is_closed})


def _weld(name: str, said: str) -> EventKind:
    return EventKind(_BOARD, "weld", said, fixed={"name": name})


EVENTS: Final[Mapping[str, EventKind]] = {
    "lid opens": EventKind(_BOARD, "open_lid", "The lid opens."),
    "lid closes": EventKind(_BOARD, "close_lid", "The lid closes."),
    "button pressed": EventKind(
        _BOARD, "press_button", "Somebody presses the button at the machine."
    ),
    "fan stops": EventKind(_BOARD, "kill_fan", "The fan stops."),
    "fan runs again": EventKind(_BOARD, "mend_fan", "The fan runs again."),
    "flame": _contact("flame", "The flame detector opens.", is_closed=False),
    "flame out": _contact("flame", "The flame detector closes again.", is_closed=True),
    "stop button pressed": _contact(
        "stop_circuit", "The stop button is pressed.", is_closed=False
    ),
    "stop button released": _contact(
        "stop_circuit", "The stop button is released.", is_closed=True
    ),
    "too hot": _contact("temperature", "The temperature switch opens.", is_closed=False),
    "cool again": _contact("temperature", "The temperature switch closes again.", is_closed=True),
    "contact opens": EventKind(
        _BOARD, "set_input", "The contact “{name}” opens.", {"name": str}, {"level": False}
    ),
    "contact closes": EventKind(
        _BOARD, "set_input", "The contact “{name}” closes.", {"name": str}, {"level": True}
    ),
    "input sticks closed": EventKind(
        _BOARD, "stick_input", "The input “{name}” sticks closed.", {"name": str}, {"level": True}
    ),
    "input sticks open": EventKind(
        _BOARD, "stick_input", "The input “{name}” sticks open.", {"name": str}, {"level": False}
    ),
    "inputs freeze": EventKind(
        _BOARD, "freeze_inputs", "Every input goes on being read, and none changes any more."
    ),
    "input is freed": EventKind(
        _BOARD, "stick_input", "The input “{name}” is freed.", {"name": str}, {"level": None}
    ),
    "input missing": EventKind(
        _BOARD, "doubt_input", "The input “{name}” cannot be read any more.",
        {"name": str}, {"how": "missing"},
    ),
    "input stale": EventKind(
        _BOARD, "doubt_input", "The reading of the input “{name}” grows old.",
        {"name": str}, {"how": "stale"},
    ),
    "input is read again": EventKind(
        _BOARD, "doubt_input", "The input “{name}” is read again.", {"name": str}, {"how": None}
    ),
    "reading hangs": EventKind(
        _BOARD, "hang_reading", "Whoever reads the box's inputs waits, and gets no answer.",
        fixed={"is_hanging": True},
    ),
    "reading goes on": EventKind(
        _BOARD, "hang_reading", "The box's inputs can be read again.", fixed={"is_hanging": False}
    ),
    "edges fail": EventKind(
        _BOARD, "fail_edges", "Telling of an edge fails inside the daemon, with an exception."
    ),
    "edges lost": EventKind(_BOARD, "lose_edges", "The board tells of no edge any more."),
    "beam pin dies": EventKind(
        _BOARD, "kill_beam_pin", "The pin of the beam's contact stays on, whatever it is told."
    ),
    "board gone": EventKind(_HOUSE, "unplug_board", "The box's board falls away."),
    "board is back": EventKind(_HOUSE, "plug_in_board", "The box's board is there again."),
    "contact chatters": EventKind(
        _BOARD, "chatter", "The contact “{name}” chatters at 1 kHz for {seconds:g} s.",
        {"name": str, "seconds": float},
    ),
    "beam contact welds": _weld(BEAM_CONTACT, "The beam's contact (K2) welds shut."),
    "safety relay replaced": EventKind(
        _BOARD, "replace_relay", "Somebody puts in another safety relay (K1).",
        fixed={"name": SAFETY_RELAY},
    ),
    "safety relay welds": _weld(SAFETY_RELAY, "The safety relay's contact (K1) welds shut."),
    "heartbeat contact welds": _weld(
        HEARTBEAT_CONTACT, "The heartbeat's contact (K3) welds shut."
    ),
    "button is bridged": EventKind(
        _BOARD, "bridge_button", "Somebody bridges the button at the machine."
    ),
    "controller reset": EventKind(_MACHINE, "reset_now", "The controller is reset."),
    "controller greets again": EventKind(
        _MACHINE, "greet_again", "The controller greets once more."
    ),
    "supply dips": EventKind(_MACHINE, "brown_out", "The controller's supply dips."),
    "power lost": EventKind(_MACHINE, "lose_power", "The controller loses its power."),
    "power comes back": EventKind(_MACHINE, "get_power", "The controller's power comes back."),
    "head pushed": EventKind(
        _MACHINE, "push_head", "Somebody pushes the head by {x_mm:g} mm and {y_mm:g} mm.",
        {"x_mm": float, "y_mm": float},
    ),
    "controller falls silent": EventKind(_MACHINE, "fall_silent", "The controller falls silent."),
    "controller speaks again": EventKind(_MACHINE, "speak_again", "The controller speaks again."),
    "controller hangs": EventKind(
        _MACHINE, "hang", "The controller hangs, its outputs as they are."
    ),
    "replies withheld": EventKind(_MACHINE, "withhold_replies", "The controller answers no line."),
    "replies released": EventKind(_MACHINE, "release_replies", "The controller answers again."),
    "line refused": EventKind(
        _MACHINE, "refuse_next_line", "The controller refuses a line with error {code}.",
        {"code": int},
    ),
    "reply lost": EventKind(_MACHINE, "lose_next_reply", "A reply is lost."),
    "reply too many": EventKind(_MACHINE, "extra_reply", "The controller answers once too often."),
    "replies late": EventKind(
        _MACHINE, "delay_replies", "From now on all replies come {seconds:g} s late.",
        {"seconds": float},
    ),
    "line garbled": EventKind(
        _MACHINE, "garble_next_line", "A digit of a line is changed on its way."
    ),
    "line becomes a pause": EventKind(
        _MACHINE, "pause_next_line", "A line becomes a pause on its way."
    ),
    "reply garbled": EventKind(_MACHINE, "garble_next_reply", "A reply is damaged on its way."),
    "noise": EventKind(
        _MACHINE, "send_noise", "{count} random bytes come from the controller.", {"count": int}
    ),
    "alarm": EventKind(
        _MACHINE, "trip_alarm", "The controller raises alarm {number}.", {"number": int}
    ),
    "door pin opens": EventKind(
        _MACHINE, "open_door_pin", "The controller's own door contact opens."
    ),
    "door pin closes": EventKind(
        _MACHINE, "close_door_pin", "The controller's own door contact closes."
    ),
    "serial unplugged": EventKind(_CABLE, "unplug", "The serial cable is pulled out."),
    "serial plugged in": EventKind(_CABLE, "plug_in", "The serial cable is put back."),
    "serial plugged in under the same name": EventKind(
        _CABLE, "plug_in", "The serial cable is put back: the port is the same.",
        fixed={"name": "same"},
    ),
    "serial plugged in under another name": EventKind(
        _CABLE, "plug_in", "The serial cable is put back: the port is another.",
        fixed={"name": "another"},
    ),
    "serial plugged in and taken": EventKind(
        _CABLE, "plug_in_taken",
        "The serial cable is put back, and another program is quicker at the port.",
    ),
    "port is free": EventKind(_CABLE, "free_port", "The other program closes the port."),
    "modem plugged in": EventKind(
        _CABLE, "plug_into", "Something that echoes is on the cable, as a modem does.",
        fixed={"device": "modem"},
    ),
    "receiver plugged in": EventKind(
        _CABLE, "plug_into", "A satellite receiver is on the cable, and talks.",
        fixed={"device": "receiver"},
    ),
    "port takes nothing more": EventKind(_CABLE, "block", "The port takes not a byte more."),
    "wall clock jumps": EventKind(
        _HOUSE, "turn_wall_clock", "The wall's clock jumps by {days} days.", {"days": int}
    ),
    "card fills up": EventKind(
        _CARD, "spoil_card", "The card under the logbook is full.", fixed={"how": "full"}
    ),
    "card answers nothing": EventKind(
        _CARD, "spoil_card", "The card under the logbook answers nothing.", fixed={"how": "stuck"}
    ),
    "card is well again": EventKind(
        _CARD, "spoil_card", "The card under the logbook is well again.", fixed={"how": None}
    ),
    "logbook damaged": EventKind(
        _PROGRAM, "damage_logbook", "The beginning of the logbook's file is written over."
    ),
    "daemon started": EventKind(
        _PROGRAM, "start_daemon", "The daemon is started.", optional={"box": str, "port": str}
    ),
    "put on the bench": EventKind(
        _PROGRAM, "put_on_bench", "Somebody puts the picture on the bench."
    ),
    "press on a phone that may only watch": EventKind(
        Actor.PHONE, "press", "Somebody whose phone may only watch asks for “{button}”.",
        {"button": str},
    ),
    "page killed": EventKind(_PROCESS, "kill_page", "The page's process is killed."),
    "daemon killed": EventKind(_PROCESS, "kill_daemon", "The daemon is killed."),
    "daemon stopped": EventKind(_PROCESS, "stop_daemon", "The daemon is stopped in its tracks."),
    "daemon goes on": EventKind(_PROCESS, "continue_daemon", "The daemon goes on."),
    "press arm": EventKind(_PERSON, "arm", "Somebody answers the checklist and arms the box."),
    "press disarm": EventKind(_PERSON, "disarm", "Somebody undoes the arming."),
    "press start": EventKind(_PERSON, "start", "Somebody presses start."),
    "press hold": EventKind(_PERSON, "hold", "Somebody presses hold."),
    "press hold now": EventKind(_PERSON, "hold_now", "Somebody presses hold now."),
    "press resume": EventKind(_PERSON, "resume", "Somebody presses resume."),
    "press stop": EventKind(_PERSON, "stop", "Somebody presses stop."),
    "press reset": EventKind(
        _PERSON, "reset", "Somebody presses reset.", optional={"names": list}
    ),
    "press answer": EventKind(
        _PERSON, "answer_round", "Somebody answers the watch round, or the look after the end."
    ),
    "set origin": EventKind(_PERSON, "set_origin", "Somebody sets the origin."),
    "press home": EventKind(_PERSON, "home", "Somebody homes the machine."),
    "move head": EventKind(
        _PERSON, "move_by", "Somebody moves the head by {x_mm:g} mm and {y_mm:g} mm.",
        {"x_mm": float, "y_mm": float},
    ),
    "unlock": EventKind(_PERSON, "unlock", "Somebody unlocks the controller."),
    "take up the rest": EventKind(
        _PERSON, "reenter", "Somebody takes the etch up again: “{confirm}”.",
        {"confirm": str}, optional={"row": int},
    ),
}  # fmt: skip
