"""Lines that begin with $: what each does, and in which states it may."""

import re
from collections.abc import Callable, Generator
from typing import TYPE_CHECKING, Final

from etchpractice.homing import home
from etchpractice.interpreter import CUTTING, Meaning
from etchpractice.language import Line, read_for, read_number
from etchpractice.modal import MM_PER_INCH
from etchpractice.planner import Beam, Order
from etchpractice.states import State

if TYPE_CHECKING:
    from etchpractice.services import Services

Answer = Generator[float, None, int]

BAD_NUMBER, UNKNOWN, NO_HOMING, NOT_IDLE, DOOR_OPEN = 2, 3, 5, 8, 13
OUTSIDE, BAD_JOG, NO_FEED, NO_AXIS, UNUSED = 15, 16, 22, 26, 36
_HELP: Final = "[HLP:$$ $# $G $I $N $x=val $Nx=line $J=line $SLP $C $X $H ~ ! ? ctrl-x]"
_JOG_CODES: Final = frozenset((200, 210, 900, 910, 530))
_REST: Final = frozenset((State.IDLE, State.ALARM))
_REST_OR_TEST: Final = _REST | {State.JOG, State.CHECK}


def answer(controller: "Services", text: str) -> Answer:
    """Carry out one $ line and return its error number, 0 for ok."""
    for pattern, states, act in _COMMANDS:
        match = pattern.fullmatch(text)
        if match is None:
            continue
        if controller.state not in states:
            return NOT_IDLE
        return (yield from act(controller, match))
    return UNKNOWN


def _settings(controller: "Services", _match: re.Match[str]) -> Answer:
    for line in controller.settings.lines():
        controller.say(line)
        yield from controller.wait_for_room()
    return 0


def _show(*lines: str) -> Callable[["Services", re.Match[str]], Answer]:
    def act(controller: "Services", _match: re.Match[str]) -> Answer:
        for line in lines or controller.firmware.build:
            controller.say(line)
            yield from controller.wait_for_room()
        return 0

    return act


def _parser(controller: "Services", _match: re.Match[str]) -> Answer:
    controller.say(controller.modal.parser_line())
    yield from controller.wait_for_room()
    return 0


def _offsets(controller: "Services", _match: re.Match[str]) -> Answer:
    for line in controller.modal.offset_lines(controller.stored):
        controller.say(line)
        yield from controller.wait_for_room()
    return 0


def _start_up(controller: "Services", _match: re.Match[str]) -> Answer:
    for number, line in enumerate(controller.stored.start_up):
        controller.say(f"$N{number}={line}")
    yield from controller.wait_for_room()
    return 0


def _store_start_up(controller: "Services", match: re.Match[str]) -> Answer:
    line = read_for(controller.firmware, match[2].encode())
    if line.error:
        return line.error
    yield from controller.write_memory(controller.firmware.setting_write_s)
    controller.stored.start_up[int(match[1])] = line.text
    return 0


def _store(controller: "Services", match: re.Match[str]) -> Answer:
    if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", match[2]) is None:
        return BAD_NUMBER
    error = controller.settings.store(int(match[1]), read_number(match[2]))
    if error:
        return error
    yield from controller.write_memory(controller.firmware.setting_write_s)
    controller.planner.take_settings()
    return 0


def _unlock(controller: "Services", _match: re.Match[str]) -> Answer:
    if controller.state is State.ALARM:
        if controller.is_door_open:
            return DOOR_OPEN
        controller.say("[MSG:Caution: Unlocked]")
        controller.state = State.IDLE
    yield from controller.wait_for_room()
    return 0


def _check(controller: "Services", _match: re.Match[str]) -> Answer:
    if controller.state is State.CHECK:
        controller.say("[MSG:Disabled]")
        controller.restart.interrupt()
    else:
        controller.say("[MSG:Enabled]")
        controller.state = State.CHECK
    yield from controller.wait_for_room()
    return 0


def _home(controller: "Services", _match: re.Match[str]) -> Answer:
    if not controller.settings[22]:
        return NO_HOMING
    if controller.is_door_open:
        return DOOR_OPEN
    yield from home(controller)
    return 0


def _sleep(controller: "Services", _match: re.Match[str]) -> Answer:
    controller.sleep()
    yield from controller.wait_for_room()
    return 0


def _restore(controller: "Services", match: re.Match[str]) -> Answer:
    controller.say("[MSG:Restoring defaults]")
    yield from controller.write_memory(controller.firmware.setting_write_s)
    controller.restore(settings=match[1] in "$*", stored=match[1] in "#*")
    controller.restart.interrupt()
    return 0


def _jog(controller: "Services", match: re.Match[str]) -> Answer:
    line = read_for(controller.firmware, match[1].encode())
    error = line.error or _jog_error(line)
    if error:
        return error
    g, words, modal = dict(line.g), dict(line.words), controller.modal
    scale = {200: MM_PER_INCH, 210: 1.0}.get(g.get("units", 0), modal.scale)
    axes = {at: words[name] * scale for at, name in enumerate("XYZ") if name in words}
    is_incremental = g.get("distance", 910 if modal.is_incremental else 900) == 910
    target = controller.interpreter.target(
        Meaning(0, True, g.get("once"), scale, is_incremental, modal.position, axes, words)
    )
    if controller.settings[20] and not controller.is_inside(target):
        return OUTSIDE
    beam = modal.beam if modal.motion in CUTTING else Beam.OFF
    order = Order(words["F"] * scale / 60, is_rapid=False, s=modal.s, beam=beam, is_jog=True)
    yield from controller.queue_move(target, order)
    return 0


def _jog_error(line: Line) -> int:
    words = {letter for letter, value in line.words if value or letter != "F"}
    if line.m or not {code for _, code in line.g} <= _JOG_CODES:
        return BAD_JOG
    if "F" not in words:
        return NO_FEED
    if not words & set("XYZ"):
        return NO_AXIS
    return UNUSED if words - set("XYZFN") else 0


_EVERYWHERE: Final = frozenset(State)
_COMMANDS: Final = tuple(
    (re.compile(pattern, re.DOTALL), states, act)
    for pattern, states, act in (
        (r"\$", _EVERYWHERE, _show(_HELP)),
        (r"\$\$", _REST_OR_TEST, _settings),
        (r"\$G", _EVERYWHERE, _parser),
        (r"\$X", _EVERYWHERE, _unlock),
        (r"\$C", frozenset((State.IDLE, State.CHECK)), _check),
        (r"\$J=(.*)", frozenset((State.IDLE, State.JOG)), _jog),
        (r"\$#", _REST, _offsets),
        (r"\$I", _REST, _show()),
        (r"\$N", _REST, _start_up),
        (r"\$N([01])=(.*)", _REST, _store_start_up),
        (r"\$H", _REST, _home),
        (r"\$SLP", _REST, _sleep),
        (r"\$RST=([$#*])", _REST, _restore),
        (r"\$(\d+)=(.*)", _REST, _store),
    )
)
