"""Lines that begin with $: what each does, and in which states it may."""

import re
import struct
from collections.abc import Callable, Generator, Iterable
from typing import Final

from etchpractice.controller.engine import Engine
from etchpractice.controller.homing import home
from etchpractice.controller.interpreter import CUTTING, Meaning
from etchpractice.controller.language import Line, read_line, read_number
from etchpractice.controller.modal import MM_PER_INCH
from etchpractice.controller.parts import Parts
from etchpractice.controller.states import State
from etchpractice.firmware.firmware import SLEEP
from etchpractice.motion.planner import Beam, Order

Answer = Generator[float, None, int]
Act = Callable[[Parts, re.Match[str]], Answer]

BAD_NUMBER, UNKNOWN, NO_HOMING, NOT_IDLE, DOOR_OPEN = 2, 3, 5, 8, 13
OUTSIDE, BAD_JOG, NO_FEED, UNUSED = 15, 16, 22, 36
_LATHE: Final = 2  # $32
_MOST_CHANGED_BYTES: Final = 3  # no store was seen to take longer
_JOG_CODES: Final = frozenset((200, 210, 900, 910, 530))
_REST: Final = frozenset((State.IDLE, State.ALARM))
_REST_OR_TEST: Final = _REST | {State.JOG, State.CHECK}


def answer(parts: Parts, line: Line) -> Answer:
    """Carry out one $ line and return its error number, 0 for ok."""
    engine = parts.engine
    is_note = line.text.startswith("$I=") and engine.firmware.keeps_note_as_typed
    text = "$I=" + line.raw.partition("=")[2] if is_note else line.text
    for pattern, states, act in _COMMANDS[engine.firmware.name]:
        match = pattern.fullmatch(text)
        if match is None:
            continue
        if engine.state not in states:
            return NOT_IDLE
        return (yield from act(parts, match))
    return UNKNOWN


def _listing(lines: Callable[[Engine], Iterable[str]]) -> Act:
    """Return what says each of `lines`, and waits for room behind it."""

    def act(parts: Parts, _match: re.Match[str]) -> Answer:
        for line in lines(parts.engine):
            parts.engine.say(line)
            yield from parts.engine.wait_for_room()
        return 0

    return act


def _setting(parts: Parts, match: re.Match[str]) -> Answer:
    engine = parts.engine
    number = int(match[1])
    if number not in engine.settings:
        return engine.firmware.unknown_setting_error
    engine.say(engine.settings.line(number))
    yield from engine.wait_for_room()
    return 0


def _build_lines(engine: Engine) -> list[str]:
    lathe = "LATHE," if engine.settings[32] == _LATHE else ""
    return [line.format(note=engine.stored.note, lathe=lathe) for line in engine.firmware.build]


def _store_note(parts: Parts, match: re.Match[str]) -> Answer:
    engine = parts.engine
    yield from engine.write_memory(engine.firmware.offset_write_s)
    engine.stored.note = match[1]
    return 0


def _start_up(parts: Parts, _match: re.Match[str]) -> Answer:
    engine = parts.engine
    for number, line in enumerate(engine.stored.start_up):
        engine.say(f"$N{number}={line}")
    yield from engine.wait_for_room()
    return 0


def _store_start_up(parts: Parts, match: re.Match[str]) -> Answer:
    """Run the line, and store it unless it fails; there are places for two."""
    engine = parts.engine
    line = read_line(match[2].encode(), engine.firmware)
    error = yield from parts.outcome(line)
    if error:
        return error
    yield from engine.write_memory(engine.firmware.setting_write_s)
    number = int(read_number(match[1]))
    if number < len(engine.stored.start_up):
        engine.stored.start_up[number] = line.text
    return 0


def _store(parts: Parts, match: re.Match[str]) -> Answer:
    engine = parts.engine
    if re.match(_NUMBER, match[2]) is None:
        return BAD_NUMBER
    if re.fullmatch(_NUMBER, match[2]) is None:
        return UNKNOWN
    number, firmware = int(read_number(match[1])), engine.firmware
    before = engine.settings.get(number, 0.0)
    error = engine.settings.store(number, read_number(match[2]))
    if error:
        return error
    changed = min(_changed_bytes(before, engine.settings[number]), _MOST_CHANGED_BYTES)
    yield from engine.write_memory(firmware.setting_write_s + changed * firmware.byte_write_s)
    engine.planner.take_settings()
    engine.note_limits()
    return 0


def _changed_bytes(before: float, after: float) -> int:
    """Return how many bytes of a setting the permanent memory has to be given anew."""
    pairs = zip(struct.pack("<f", before), struct.pack("<f", after), strict=True)
    return sum(old != new for old, new in pairs)


def _unlock(parts: Parts, _match: re.Match[str]) -> Answer:
    engine = parts.engine
    if engine.state is State.ALARM:
        if engine.is_door_open:
            return DOOR_OPEN
        engine.say("[MSG:Caution: Unlocked]")
        engine.state = State.IDLE
    yield from engine.wait_for_room()
    return 0


def _check(parts: Parts, _match: re.Match[str]) -> Answer:
    engine = parts.engine
    if engine.state is State.CHECK:
        engine.say("[MSG:Disabled]")
        engine.interrupt()
    else:
        engine.say("[MSG:Enabled]")
        engine.state = State.CHECK
    yield from engine.wait_for_room()
    return 0


def _home(parts: Parts, match: re.Match[str]) -> Answer:
    engine = parts.engine
    if not engine.settings[22]:
        return NO_HOMING
    if engine.is_door_open:
        return DOOR_OPEN
    if match[1]:
        return UNKNOWN
    yield from home(engine, obey=parts.real_time.obey)
    return 0


def _refuse(error: int) -> Act:
    def act(_parts: Parts, _match: re.Match[str]) -> Answer:
        yield from ()
        return error

    return act


def _sleep(parts: Parts, _match: re.Match[str]) -> Answer:
    parts.real_time.raise_flag(SLEEP)
    yield from ()
    return 0


def _restore(parts: Parts, match: re.Match[str]) -> Answer:
    engine = parts.engine
    engine.say("[MSG:Restoring defaults]")
    yield from engine.write_memory(engine.firmware.setting_write_s)
    engine.restore(settings=match[1] in "$*", stored=match[1] in "#*")
    engine.interrupt()
    return 0


def _jog(parts: Parts, match: re.Match[str]) -> Answer:
    engine = parts.engine
    line = read_line(match[1].encode(), engine.firmware)
    error = line.error or _jog_error(line)
    if error:
        return error
    g, words, modal = dict(line.g), dict(line.words), engine.modal
    scale = {200: MM_PER_INCH, 210: 1.0}.get(g.get("units", 0), modal.scale)
    axes = {at: words[name] * scale for at, name in enumerate("XYZ") if name in words}
    is_incremental = g.get("distance", 910 if modal.is_incremental else 900) == 910
    meaning = Meaning(0, True, g.get("once"), scale, is_incremental, modal.position, axes, words)
    # A jog without an axis goes to the machine's zero (recorded).
    target = parts.interpreter.target(meaning) if axes else (0.0, 0.0, 0.0)
    if not engine.may_reach(target):
        return OUTSIDE
    beam = modal.beam if modal.motion in CUTTING else Beam.OFF
    order = Order(words["F"] * scale / 60, is_rapid=False, s=modal.s, beam=beam, is_jog=True)
    yield from parts.queue_move(target, order)
    return 0


def _jog_error(line: Line) -> int:
    words = {letter for letter, value in line.words if value or letter != "F"}
    if line.m or not {code for _, code in line.g} <= _JOG_CODES:
        return BAD_JOG
    if "F" not in words:
        return NO_FEED
    return UNUSED if words - set("XYZFN") else 0


_Row = tuple[re.Pattern[str], frozenset[State], Act]
_EVERYWHERE: Final = frozenset(State)
_NUMBER: Final = r"[+-]?(?:\d+\.?\d*|\.\d+)"


def _table(*rows: tuple[str, frozenset[State], Act]) -> tuple[_Row, ...]:
    return tuple((re.compile(pattern, re.DOTALL), states, act) for pattern, states, act in rows)


_HELP: Final = _listing(lambda engine: (engine.firmware.help,))
_PARSER: Final = _listing(
    lambda engine: (engine.modal.parser_line(engine.firmware, engine.settings),)
)
_SETTINGS: Final = _listing(lambda engine: engine.settings.lines())
_OFFSETS: Final = _listing(lambda engine: engine.modal.offset_lines(engine.stored, engine.firmware))

# The first row whose pattern fits the whole line answers it.
_COMMON: Final = (
    (r"\$", _EVERYWHERE, _HELP),
    (r"\$G", _EVERYWHERE, _PARSER),
    (r"\$X", _EVERYWHERE, _unlock),
    (r"\$C", frozenset((State.IDLE, State.CHECK)), _check),
    (r"\$J=(.*)", frozenset((State.IDLE, State.JOG)), _jog),
    (r"\$[JGXC$].*", _EVERYWHERE, _refuse(UNKNOWN)),
    (r"\$I", _REST, _listing(_build_lines)),
    (r"\$N", _REST, _start_up),
    (r"\$H(.*)", _REST, _home),
    (r"\$RST=([$#*])", _REST, _restore),
)
_COMMANDS: Final = {
    "8-bit": _table(
        (r"\$\$", _REST_OR_TEST, _SETTINGS),
        *_COMMON,
        (r"\$#", _REST, _OFFSETS),
        (r"\$I=(.*)", _REST, _store_note),
        (r"\$SLP", _REST, _sleep),
        (rf"\$N({_NUMBER})=(.*)", _REST, _store_start_up),
        (rf"\$({_NUMBER})=(.*)", _REST, _store),
        (rf"\$(?:[#ISR]|N?{_NUMBER}).*", _REST, _refuse(UNKNOWN)),
        (r".*", _REST, _refuse(BAD_NUMBER)),
    ),
    "32-bit": _table(
        (r"\$\$", _REST_OR_TEST, _SETTINGS),
        (r"\$#", _EVERYWHERE, _OFFSETS),
        *_COMMON,
        (r"\$I=(.*)", _REST, _store_note),
        (r"\$N([01])=(.*)", _REST, _store_start_up),
        (r"\$(\d+)", _REST, _setting),
        (r"\$(\d+)=(.*)", _REST | {State.CHECK}, _store),
        (r".*", _EVERYWHERE, _refuse(UNKNOWN)),
    ),
}
