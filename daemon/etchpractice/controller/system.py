"""Lines that begin with $: what each does, and in which states it may."""

import re
import struct
from collections.abc import Callable, Generator
from typing import TYPE_CHECKING, Final

from etchpractice.controller.homing import home
from etchpractice.controller.interpreter import CUTTING, Meaning
from etchpractice.controller.language import Line, read_line, read_number
from etchpractice.controller.modal import MM_PER_INCH
from etchpractice.controller.states import State
from etchpractice.firmware.firmware import SLEEP
from etchpractice.motion.planner import Beam, Order

if TYPE_CHECKING:
    from etchpractice.controller.services import Services

Answer = Generator[float, None, int]

BAD_NUMBER, UNKNOWN, NO_HOMING, NOT_IDLE, DOOR_OPEN = 2, 3, 5, 8, 13
OUTSIDE, BAD_JOG, NO_FEED, UNUSED = 15, 16, 22, 36
_LATHE: Final = 2  # $32
_MOST_CHANGED_BYTES: Final = 3  # no store was seen to take longer
_JOG_CODES: Final = frozenset((200, 210, 900, 910, 530))
_REST: Final = frozenset((State.IDLE, State.ALARM))
_REST_OR_TEST: Final = _REST | {State.JOG, State.CHECK}


def answer(controller: "Services", line: Line) -> Answer:
    """Carry out one $ line and return its error number, 0 for ok."""
    is_note = line.text.startswith("$I=") and controller.firmware.keeps_note_as_typed
    text = "$I=" + line.raw.partition("=")[2] if is_note else line.text
    for pattern, states, act in _COMMANDS[controller.firmware.name]:
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


def _setting(controller: "Services", match: re.Match[str]) -> Answer:
    number = int(match[1])
    if number not in controller.settings:
        return controller.firmware.unknown_setting_error
    controller.say(controller.settings.line(number))
    yield from controller.wait_for_room()
    return 0


def _help(controller: "Services", _match: re.Match[str]) -> Answer:
    controller.say(controller.firmware.help)
    yield from controller.wait_for_room()
    return 0


def _build(controller: "Services", _match: re.Match[str]) -> Answer:
    lathe = "LATHE," if controller.settings[32] == _LATHE else ""
    for line in controller.firmware.build:
        controller.say(line.format(note=controller.stored.note, lathe=lathe))
        yield from controller.wait_for_room()
    return 0


def _store_note(controller: "Services", match: re.Match[str]) -> Answer:
    yield from controller.write_memory(controller.firmware.offset_write_s)
    controller.stored.note = match[1]
    return 0


def _parser(controller: "Services", _match: re.Match[str]) -> Answer:
    controller.say(controller.modal.parser_line(controller.firmware, controller.settings))
    yield from controller.wait_for_room()
    return 0


def _offsets(controller: "Services", _match: re.Match[str]) -> Answer:
    for line in controller.modal.offset_lines(controller.stored, controller.firmware):
        controller.say(line)
        yield from controller.wait_for_room()
    return 0


def _start_up(controller: "Services", _match: re.Match[str]) -> Answer:
    for number, line in enumerate(controller.stored.start_up):
        controller.say(f"$N{number}={line}")
    yield from controller.wait_for_room()
    return 0


def _store_start_up(controller: "Services", match: re.Match[str]) -> Answer:
    """Run the line, and store it unless it fails; there are places for two."""
    line = read_line(match[2].encode(), controller.firmware)
    error = yield from controller.outcome(line)
    if error:
        return error
    yield from controller.write_memory(controller.firmware.setting_write_s)
    number = int(read_number(match[1]))
    if number < len(controller.stored.start_up):
        controller.stored.start_up[number] = line.text
    return 0


def _store(controller: "Services", match: re.Match[str]) -> Answer:
    if re.match(_NUMBER, match[2]) is None:
        return BAD_NUMBER
    if re.fullmatch(_NUMBER, match[2]) is None:
        return UNKNOWN
    number, firmware = int(read_number(match[1])), controller.firmware
    before = controller.settings.get(number, 0.0)
    error = controller.settings.store(number, read_number(match[2]))
    if error:
        return error
    changed = min(_changed_bytes(before, controller.settings[number]), _MOST_CHANGED_BYTES)
    yield from controller.write_memory(firmware.setting_write_s + changed * firmware.byte_write_s)
    controller.planner.take_settings()
    controller.note_limits()
    return 0


def _changed_bytes(before: float, after: float) -> int:
    """Return how many bytes of a setting the permanent memory has to be given anew."""
    pairs = zip(struct.pack("<f", before), struct.pack("<f", after), strict=True)
    return sum(old != new for old, new in pairs)


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


def _home(controller: "Services", match: re.Match[str]) -> Answer:
    if not controller.settings[22]:
        return NO_HOMING
    if controller.is_door_open:
        return DOOR_OPEN
    if match[1]:
        return UNKNOWN
    yield from home(controller)
    return 0


def _refuse(error: int) -> Callable[["Services", re.Match[str]], Answer]:
    def act(_controller: "Services", _match: re.Match[str]) -> Answer:
        yield from ()
        return error

    return act


def _sleep(controller: "Services", _match: re.Match[str]) -> Answer:
    controller.real_time.raise_flag(SLEEP)
    yield from ()
    return 0


def _restore(controller: "Services", match: re.Match[str]) -> Answer:
    controller.say("[MSG:Restoring defaults]")
    yield from controller.write_memory(controller.firmware.setting_write_s)
    controller.restore(settings=match[1] in "$*", stored=match[1] in "#*")
    controller.restart.interrupt()
    return 0


def _jog(controller: "Services", match: re.Match[str]) -> Answer:
    line = read_line(match[1].encode(), controller.firmware)
    error = line.error or _jog_error(line)
    if error:
        return error
    g, words, modal = dict(line.g), dict(line.words), controller.modal
    scale = {200: MM_PER_INCH, 210: 1.0}.get(g.get("units", 0), modal.scale)
    axes = {at: words[name] * scale for at, name in enumerate("XYZ") if name in words}
    is_incremental = g.get("distance", 910 if modal.is_incremental else 900) == 910
    meaning = Meaning(0, True, g.get("once"), scale, is_incremental, modal.position, axes, words)
    # A jog without an axis goes to the machine's zero (recorded).
    target = controller.interpreter.target(meaning) if axes else (0.0, 0.0, 0.0)
    if not controller.may_reach(target):
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
    return UNUSED if words - set("XYZFN") else 0


_Act = Callable[["Services", re.Match[str]], Answer]
_Row = tuple[re.Pattern[str], frozenset[State], _Act]
_EVERYWHERE: Final = frozenset(State)
_NUMBER: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)"


def _table(*rows: tuple[str, frozenset[State], _Act]) -> tuple[_Row, ...]:
    return tuple((re.compile(pattern, re.DOTALL), states, act) for pattern, states, act in rows)


# The first row whose pattern fits the whole line answers it.
_COMMON: Final = (
    (r"\$", _EVERYWHERE, _help),
    (r"\$G", _EVERYWHERE, _parser),
    (r"\$X", _EVERYWHERE, _unlock),
    (r"\$C", frozenset((State.IDLE, State.CHECK)), _check),
    (r"\$J=(.*)", frozenset((State.IDLE, State.JOG)), _jog),
    (r"\$[JGXC$].*", _EVERYWHERE, _refuse(UNKNOWN)),
    (r"\$I", _REST, _build),
    (r"\$N", _REST, _start_up),
    (r"\$H(.*)", _REST, _home),
    (r"\$RST=([$#*])", _REST, _restore),
)
_COMMANDS: Final = {
    "8-bit": _table(
        (r"\$\$", _REST_OR_TEST, _settings),
        *_COMMON,
        (r"\$#", _REST, _offsets),
        (r"\$I=(.*)", _REST, _store_note),
        (r"\$SLP", _REST, _sleep),
        (rf"\$N({_NUMBER})=(.*)", _REST, _store_start_up),
        (rf"\$({_NUMBER})=(.*)", _REST, _store),
        (rf"\$(?:[#ISR]|N?{_NUMBER}).*", _REST, _refuse(UNKNOWN)),
        (r".*", _REST, _refuse(BAD_NUMBER)),
    ),
    "32-bit": _table(
        (r"\$\$", _REST_OR_TEST, _settings),
        (r"\$#", _EVERYWHERE, _offsets),
        *_COMMON,
        (r"\$I=(.*)", _REST, _store_note),
        (r"\$N([01])=(.*)", _REST, _store_start_up),
        (r"\$(\d+)", _REST, _setting),
        (r"\$(\d+)=(.*)", _REST | {State.CHECK}, _store),
        (r".*", _EVERYWHERE, _refuse(UNKNOWN)),
    ),
}
