"""Carrying out a checked line of G-code, step by step in the set order."""

import math
from collections.abc import Generator, Sequence
from typing import Final

from etchpractice.controller.engine import Engine
from etchpractice.controller.interpreter import ARCS, CUTTING, PROBES, Meaning
from etchpractice.controller.modal import SYSTEMS, Triple, system_name
from etchpractice.controller.parts import Parts
from etchpractice.controller.states import Alarm, State
from etchpractice.motion.planner import Beam, Order
from etchpractice.wire import NEVER_S

Waits = Generator[float, None, None]

_COOLANTS: Final = {7: "M", 8: "F"}  # by M word
DWELL_STEP_S: Final = 0.050  # how often a dwell looks at the real-time commands


def perform(parts: Parts, meaning: Meaning) -> Waits:
    """Do what `meaning` says; waits for room, rest and dwells as the controller does."""
    engine = parts.engine
    modal, words, g, m = engine.modal, meaning.words, meaning.g, meaning.m
    if "feed mode" in g:
        modal.is_inverse_time = g["feed mode"] == 930
    modal.feed = words["F"]
    yield from _set_power(engine, meaning)
    modal.tool = int(words.get("T", modal.tool))
    if "beam" in m and Beam(m["beam"]) is not modal.beam:
        yield from engine.drain()
        modal.beam = Beam(m["beam"])
        engine.set_beam(modal.s if _is_lit(engine, meaning.motion) else 0.0)
    coolant = modal.coolant
    if "coolant" in m:
        added = _COOLANTS.get(m["coolant"])
        coolant = "".join(sorted({*coolant, added})) if added else ""
    if coolant != modal.coolant:
        yield from engine.drain()
        engine.set_coolant(coolant)
    if "dwell" in g:
        yield from _dwell(engine, g["dwell"] / 1000)
    _set_modes(engine, meaning)
    yield from _once(parts, meaning)
    modal.motion = meaning.motion
    if meaning.moves:
        yield from _move(parts, meaning)
    yield from _stop_program(parts, m.get("stopping"))


def _is_lit(engine: Engine, motion: int) -> bool:
    return motion in CUTTING or not engine.is_laser


def _set_power(engine: Engine, meaning: Meaning) -> Waits:
    """Apply S: with a move it travels with the move; alone it waits for rest.

    In dynamic power too: seen in a cycle-accurate run of the 8-bit firmware's image, and taken to
    be so in the 32-bit one.
    """
    modal = engine.modal
    s = meaning.words.get("S", modal.s)
    lit = _is_lit(engine, meaning.motion)
    is_constant = modal.beam is Beam.CONSTANT or not engine.is_laser
    is_mode_change = lit is not _is_lit(engine, modal.motion) and not meaning.moves
    travels = meaning.moves and engine.is_laser
    changes = s != modal.s or (is_mode_change and is_constant)
    if modal.beam is not Beam.OFF and not travels and changes:
        yield from engine.drain()
        engine.set_beam(s if lit else 0.0)
    modal.s = s


def _dwell(engine: Engine, seconds: float) -> Waits:
    yield from engine.drain()
    if engine.state is State.CHECK:
        return
    end_s = engine.now_s + seconds
    while engine.now_s < end_s - 1e-9:
        step_end_s = min(end_s, engine.now_s + DWELL_STEP_S)
        engine.be_busy_until(step_end_s)
        yield step_end_s


def _set_modes(engine: Engine, meaning: Meaning) -> None:
    modal, g = engine.modal, meaning.g
    modal.plane = g.get("plane", modal.plane)
    modal.is_inches = g.get("units", 200 if modal.is_inches else 210) == 200
    if g.get("tool length") == 490:
        modal.tool_lengths = (0.0, 0.0, 0.0)
    elif g.get("tool length") == 431:
        x, y, z = (meaning.axes.get(axis, was) for axis, was in enumerate(modal.tool_lengths))
        modal.tool_lengths = (x, y, z)
        engine.fields_due.note_offset()
    if "offsets" in g:
        modal.system = system_name(g["offsets"])
        engine.fields_due.note_system()
    modal.is_incremental = meaning.is_incremental


def _once(parts: Parts, meaning: Meaning) -> Waits:
    engine = parts.engine
    modal, stored, once = engine.modal, engine.stored, meaning.once
    if once == 100:
        yield from _store_offset(engine, meaning)
    elif once in (280, 300):
        name = f"G{once // 10}"
        goal = list(modal.position)
        if meaning.axes:
            yield from _rapid(parts, parts.interpreter.target(meaning))
            for axis in meaning.axes:
                goal[axis] = stored.systems[name][axis]
        else:
            goal = list(stored.systems[name])
        yield from _rapid(parts, goal)
    elif once in (281, 301):
        yield from engine.write_memory(engine.firmware.offset_write_s)
        stored.systems[f"G{once // 10}"] = modal.position
    elif once == 920:
        modal.shift = _shifted(engine, meaning)
        engine.fields_due.note_offset()
    elif once == 921:
        modal.shift = (0.0, 0.0, 0.0)
        engine.fields_due.note_offset()


def _shifted(engine: Engine, meaning: Meaning) -> Triple:
    modal = engine.modal
    system = engine.stored.systems[modal.system]
    shift = list(modal.shift)
    for axis, value in meaning.axes.items():
        shift[axis] = modal.position[axis] - system[axis] - modal.tool_lengths[axis] - value
    return (shift[0], shift[1], shift[2])


def _store_offset(engine: Engine, meaning: Meaning) -> Waits:
    modal, systems = engine.modal, engine.stored.systems
    number = meaning.g["offset number"]
    name = SYSTEMS[number - 1] if number else modal.system
    place = list(systems[name])
    for axis, value in meaning.axes.items():
        if meaning.g["offset kind"] == 20:
            at = modal.position[axis] - modal.shift[axis]
            place[axis] = at - modal.tool_lengths[axis] - value
        else:
            place[axis] = value
    yield from engine.write_memory(engine.firmware.offset_write_s)
    systems[name] = (place[0], place[1], place[2])
    engine.fields_due.note_offset()


def _rapid(parts: Parts, goal: Sequence[float]) -> Waits:
    yield from parts.queue_move(
        (goal[0], goal[1], goal[2]), Order(0.0, is_rapid=True, s=0.0, beam=Beam.OFF)
    )


def _move(parts: Parts, meaning: Meaning) -> Waits:
    engine = parts.engine
    modal, motion = engine.modal, meaning.motion
    if motion in PROBES:
        yield from _probe(parts, meaning)
        return
    points = meaning.points if motion in ARCS else [meaning.target]
    feed = modal.feed
    if modal.is_inverse_time and motion:
        feed *= sum(
            math.dist(a, b) for a, b in zip([modal.position, *points], points, strict=False)
        )
    beam = modal.beam if _is_lit(engine, motion) else Beam.OFF
    if beam is Beam.DYNAMIC and not engine.is_laser:
        beam = Beam.CONSTANT
    for number, point in enumerate(points):
        if number:  # a chord is taken to cost what a line does; it was not measured
            engine.work(engine.costs.read_s + engine.costs.answer_s)
            yield from engine.wait_for_room()
        order = Order(feed / 60, is_rapid=not motion, s=modal.s, beam=beam)
        yield from parts.queue_move(point, order)


def _probe(parts: Parts, meaning: Meaning) -> Waits:
    """Nothing is wired to the probe input, so the move ends without contact."""
    engine = parts.engine
    yield from engine.drain()
    order = Order(engine.modal.feed / 60, is_rapid=False, s=0.0, beam=Beam.OFF)
    yield from parts.queue_move(meaning.target, order)
    yield from engine.drain()
    if engine.state is not State.CHECK:
        engine.say(f"[PRB:{','.join(f'{part:.3f}' for part in engine.modal.probed)}:0]")
        if meaning.motion in (382, 384):
            engine.raise_alarm(Alarm.NO_CONTACT)
            yield from engine.wait_for_room()


def _stop_program(parts: Parts, code: int | None) -> Waits:
    engine = parts.engine
    is_pause = code == 0 or (code == 1 and engine.firmware.stops_at_m1)
    if code is None or (code == 1 and not is_pause):
        return
    yield from engine.drain()
    if is_pause:
        if engine.state is not State.CHECK:
            parts.suspension.hold()
            yield NEVER_S  # nothing goes on before the hold is over
        return
    _end_program(engine)


def _end_program(engine: Engine) -> None:
    """Do what M2 and M30 do: the modes as at the start, but G1, and all overrides off."""
    modal = engine.modal
    modal.motion, modal.plane, modal.system = 10, 170, "G54"
    modal.is_incremental = modal.is_inverse_time = False
    modal.beam = Beam.OFF
    engine.fields_due.note_offset()
    if engine.state is not State.CHECK:
        if engine.firmware.resets_overrides_at_end:
            engine.planner.override(feed_percent=100, rapid_percent=100)
            engine.power_percent = 100
        engine.set_beam(0.0)
        engine.set_coolant("")
    engine.say("[MSG:Pgm End]")
