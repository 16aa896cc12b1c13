"""The picture of a scenario: an even grey, so that every row of it looks alike on the tile."""

import dataclasses
import hashlib
from pathlib import Path
from typing import Final

import numpy as np

from etchpath.writer.dots import Order, write_job
from etchphoto.expected import save_expected
from etchpractice.scenario.script import Picture
from etchwire.catalogue.examples import DEFAULT_HEAD, PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, Sheet

# Our own files always let the power follow the speed; a scenario may ask for the other kind.
_DYNAMIC: Final = b"M4S0\n"
_CONSTANT: Final = b"M3S0\n"
_PAUSE: Final = b"M0"


def write_grey(picture: Picture, *, folder: Path, head: str = DEFAULT_HEAD) -> Sheet:
    """Make the job of `picture` for a practice head in `folder`."""
    folder.mkdir(parents=True)
    bits = np.indices((picture.rows, picture.columns)).sum(axis=0) % 2 == 0
    recipe = PRACTICE_RECIPES[head]
    if picture.feed_mm_per_min is not None:
        recipe = dataclasses.replace(recipe, feed_mm_per_min=picture.feed_mm_per_min)
    order = Order(
        title="Even grey",
        head=PRACTICE_HEADS[head],
        recipe=recipe,
        halftone="none",
    )
    gcode = folder / GCODE_NAME
    with gcode.open("wb+") as file:
        sheet = write_job(bits, file, order)
    data = _changed(gcode.read_bytes(), picture, sheet)
    gcode.write_bytes(data)
    sheet = dataclasses.replace(sheet, gcode_sha256=hashlib.sha256(data).hexdigest())
    (folder / SHEET_NAME).write_text(sheet.to_json(), encoding="utf-8")
    save_expected(bits, folder / PICTURE_NAME)
    return sheet


def _changed(data: bytes, picture: Picture, sheet: Sheet) -> bytes:
    """Return the file as no writer of ours would write it, where the scenario wants it so."""
    if picture.has_constant_power:
        data = data.replace(_DYNAMIC, _CONSTANT)
    if picture.pauses_in_row is not None:
        begins = sheet.index[picture.pauses_in_row].byte
        ends = data.index(b"\n", begins)
        data = data[:begins] + _PAUSE.ljust(ends - begins, b"0") + data[ends:]  # as long as before
    return data
