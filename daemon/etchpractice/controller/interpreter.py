"""What a line of G-code does: checked against the modal state, then done in the set order.

Whatever has to wait (for room in the planner, for rest, for a dwell) is a generator that yields
the time at which it wants to be asked again at the latest.
"""

from dataclasses import dataclass, field
from typing import Final

from etchpractice.controller.engine import Engine
from etchpractice.controller.language import Line
from etchpractice.controller.modal import Triple, system_name
from etchpractice.motion.arcs import arc_points
from etchpractice.motion.planner import Beam, Order

AXIS_LETTERS: Final = "XYZ"
ARCS: Final = (20, 30)
CUTTING: Final = (10, 20, 30)
PROBES: Final = (382, 383, 384, 385)
_PLANES: Final = {170: (0, 1, 2), 180: (2, 0, 1), 190: (1, 2, 0)}


class Refused(Exception):
    """A line that cannot be run, with the number the controller answers."""

    def __init__(self, code: int) -> None:
        super().__init__(f"error {code}")
        self.code = code


@dataclass(slots=True)
class Meaning:
    """A checked line: what it wants done."""

    motion: int
    moves: bool
    once: int | None
    scale: float
    is_incremental: bool
    target: Triple
    axes: dict[int, float]
    words: dict[str, float]
    g: dict[str, int] = field(default_factory=dict)
    m: dict[str, int] = field(default_factory=dict)
    points: list[Triple] = field(default_factory=list)


class Interpreter:
    """Understands lines by the modes and settings in force."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def simple_move(self, simple: tuple[float | None, ...]) -> tuple[Triple, Order] | None:
        """Return a plain move and commit it to the modal state, or None for the long way."""
        engine = self._engine
        modal = engine.modal
        motion = modal.motion
        x, y, z, s, f = simple
        if (
            not engine.has_plain_moves
            or modal.is_inverse_time
            or (x is None and y is None and z is None)
            or (motion != 0 and (motion != 10 or not (f or modal.feed)))
        ):
            return None
        scale = modal.scale
        if f is not None:
            modal.feed = f * scale
        if s is not None:
            modal.s = s
        px, py, pz = modal.position
        if modal.is_incremental:
            target = (
                px + x * scale if x is not None else px,
                py + y * scale if y is not None else py,
                pz + z * scale if z is not None else pz,
            )
        else:
            ox, oy, oz = modal.offset(engine.stored)
            target = (
                x * scale + ox if x is not None else px,
                y * scale + oy if y is not None else py,
                z * scale + oz if z is not None else pz,
            )
        modal.position = target
        beam = modal.beam if motion else Beam.OFF
        return target, Order(modal.feed / 60, not motion, modal.s, beam)

    def understand(self, line: Line) -> Meaning:
        """Check `line` against the state; raise Refused."""
        modal = self._engine.modal
        g, m, words = dict(line.g), dict(line.m), dict(line.words)
        scale = {200: 25.4, 210: 1.0}.get(g.get("units", 0), modal.scale)
        axes = {
            at: words.pop(name) * scale for at, name in enumerate(AXIS_LETTERS) if name in words
        }
        once = g.get("once")
        takes_axes = once in (100, 280, 300, 920) or g.get("tool length") == 431
        motion = g.get("motion", modal.motion)
        moves = not takes_axes and (bool(axes) or "motion" in g)
        is_incremental = g.get("distance", 910 if modal.is_incremental else 900) == 910
        meaning = Meaning(
            motion, moves, once, scale, is_incremental, modal.position, axes, words, g, m
        )
        words.pop("N", None)
        if "tool" in m and not self._engine.firmware.knows_m6:
            raise Refused(20)
        self._check_feed(meaning)
        self._check_once(meaning)
        self._check_motion(meaning)
        unused = set(words) - {"F", "S", "T"}
        if unused:
            raise Refused(36)
        return meaning

    def _check_feed(self, meaning: Meaning) -> None:
        modal, words = self._engine.modal, meaning.words
        is_inverse = meaning.g.get("feed mode", 930 if modal.is_inverse_time else 940) == 930
        needs_feed = meaning.moves and meaning.motion not in (0, 800)
        if is_inverse:
            if needs_feed and not words.get("F"):
                raise Refused(22)
            feed = words.get("F", 0.0)
        elif "F" in words:
            feed = words["F"] * meaning.scale
        else:
            feed = 0.0 if modal.is_inverse_time else modal.feed
        if needs_feed and not feed:
            raise Refused(22)
        words["F"] = feed

    def _check_once(self, meaning: Meaning) -> None:
        once, words, axes = meaning.once, meaning.words, meaning.axes
        if once == 40:
            if "P" not in words:
                raise Refused(28)
            meaning.g["dwell"] = round(words.pop("P") * 1000)
        if meaning.g.get("tool length") == 431 and not (
            list(axes) == [2] or (axes and self._engine.firmware.offsets_every_axis)
        ):
            raise Refused(37)
        if once in (100, 920) and not axes:
            raise Refused(26)
        if once == 100:
            self._check_offset_words(meaning)
        if once == 530 and meaning.motion not in (0, 10):
            raise Refused(30)

    def _check_offset_words(self, meaning: Meaning) -> None:
        words = meaning.words
        if "P" not in words and "L" not in words:
            raise Refused(28)
        number, kind = words.pop("P", 0), words.pop("L", 0)
        if number > self._engine.firmware.systems:
            raise Refused(29)
        if kind not in (2, 20) or (kind == 2 and "R" in words):
            raise Refused(20)
        meaning.g["offset number"], meaning.g["offset kind"] = int(number), int(kind)

    def _check_motion(self, meaning: Meaning) -> None:
        motion, axes = meaning.motion, meaning.axes
        if motion == 800 and meaning.moves and axes:
            raise Refused(31)
        if not meaning.moves:
            return
        if not axes:
            if motion in ARCS or motion in PROBES:
                raise Refused(26)
            meaning.moves = False
            return
        meaning.target = self.target(meaning)
        if motion in PROBES and meaning.target == self._engine.modal.position:
            raise Refused(33)
        if motion in ARCS:
            self._check_arc(meaning)

    def _check_arc(self, meaning: Meaning) -> None:
        plane = _PLANES[meaning.g.get("plane", self._engine.modal.plane)]
        if not any(axis in meaning.axes for axis in plane[:2]):
            raise Refused(32)
        words, scale = meaning.words, meaning.scale
        radius = words.pop("R", None)
        centre = [words.pop("IJK"[axis], None) for axis in plane[:2]]
        code, points = arc_points(
            start=self._engine.modal.position,
            end=meaning.target,
            plane=plane,
            is_clockwise=meaning.motion == 20,
            radius=None if radius is None else radius * scale,
            centre=None if centre == [None, None] else [(part or 0.0) * scale for part in centre],
            tolerance_mm=self._engine.settings[12],
        )
        if code:
            raise Refused(code)
        meaning.words.pop("K" if plane[2] == 2 else "I" if plane[2] == 0 else "J", None)
        meaning.points = points

    def target(self, meaning: Meaning) -> Triple:
        """Return where the axis words of `meaning` lead, in machine coordinates."""
        engine = self._engine
        modal = engine.modal
        offset = modal.offset(engine.stored)
        system = meaning.g.get("offsets")
        if system is not None:
            was = engine.stored.systems[modal.system]
            now = engine.stored.systems[system_name(system)]
            offset = tuple(o - a + b for o, a, b in zip(offset, was, now, strict=True))  # type: ignore[assignment]
        place: list[float] = list(modal.position)
        for axis, value in meaning.axes.items():
            if meaning.once == 530:
                place[axis] = value
            elif meaning.is_incremental:
                place[axis] += value
            else:
                place[axis] = value + offset[axis]
        return (place[0], place[1], place[2])
