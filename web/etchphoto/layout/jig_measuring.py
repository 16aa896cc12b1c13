"""Measuring a jig: where the head stands over two of its corners, and how deep its focus is."""

from collections.abc import Iterable
from dataclasses import replace

from etchphoto.errors import UnfitDesign
from etchphoto.layout.jig import Jig
from etchwire.calls.catalogue import ReadingEntry
from etchwire.calls.snapshot import MachineView
from etchwire.catalogue.heads import Head


def corner_under(machine: MachineView, pointer_of: Head | None = None) -> tuple[float, float]:
    """Return where the head stands at rest, or where its laser's pointer shines: x, y in mm.

    It counts from the origin. Raise UnfitDesign, with a sentence, where it is not known.
    """
    if not machine.origin.is_known or machine.position_mm is None:
        raise UnfitDesign(
            "where the head stands is not known. "
            f"{machine.origin.sentence or machine.sentence}".rstrip(".")
        )
    if machine.is_moving or machine.controller_state not in (None, "Idle"):
        raise UnfitDesign("the head is moving: wait until it stands still")
    x_mm, y_mm = machine.position_mm
    if pointer_of is None:
        return x_mm, y_mm
    return x_mm + pointer_of.pointer_x_mm, y_mm + pointer_of.pointer_y_mm


def with_measured_depth(jig: Jig, readings: Iterable[ReadingEntry]) -> Jig:
    """Return the jig with the depth of focus that a laser's newest focus card showed.

    `readings` are those of the laser, the newest first. A depth that somebody said of the jig
    stays, and without either the jig is as it was.
    """
    if jig.focus_depth_mm:
        return jig
    shown = (reading.summary.get("in_focus_mm") for reading in readings)
    depths = (float(depth) for depth in shown if isinstance(depth, (int, float)) and depth > 0)
    return replace(jig, focus_depth_mm=next(depths, 0.0))
