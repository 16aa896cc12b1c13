"""Cards burnt on the practice machine in memory, and wiped: its surfaces are none of ours."""

import numpy as np

from darkroom.tile import Tile
from etchpractice.machine import PracticeMachine
from etchpractice.tile.surface import ramp, surface_named
from etchproof.card import Card
from etchproof.layout.job import prepare_card
from etchwire.sheet import GCODE_NAME
from support.harnesses.practice_host import Host

MM_PER_PX = 0.025
HEARS_EVERY_S = 0.004  # seldom enough to be quick, and no line comes too late for the planner


def run_on_practice(gcode, head, surface, **machine):
    """Run a file on a practice machine of this head and return it, at rest."""
    host = Host(PracticeMachine(head=head, surface=surface, **machine), step_s=HEARS_EVERY_S)
    host.run(*gcode.decode("ascii").splitlines(), within_s=20_000)
    assert not [reply for reply in host.replies if reply != "ok"]
    return host.machine


def burn_on_practice(card: Card, surface: str, folder, **machine) -> Tile:
    """Prepare, burn and wipe a card; `machine` are settings of the practice machine."""
    tile, _ = burnt_on_practice(card, surface, folder, **machine)
    return tile


def burnt_on_practice(card, surface, folder, *, brown=0.0, **machine) -> tuple[Tile, Tile]:
    """Prepare and burn a card; return it wiped and as it lay before, with all of its paint.

    `brown` is the share of blue that paint swallows where it was scorched and nothing fired.
    """
    sheet = prepare_card(card, folder=folder, is_replacing=True)
    run = run_on_practice((folder / GCODE_NAME).read_bytes(), card.head, surface, **machine)
    place, its = sheet.picture, surface_named(surface)
    where = (place.left_mm, place.bottom_mm, place.right_mm, place.top_mm)
    wiped, painted = (
        run.tile.reflectance(mm_per_px=MM_PER_PX, rectangle=where, wiped=is_wiped) / white
        for is_wiped, white in ((True, its.tile_reflectance), (False, its.paint_reflectance))
    )
    felt = run.tile.exposure_j_per_mm2(where)[::-1]  # as many cells as the picture has pixels
    scorched = ramp(felt, its.scorch_j_per_mm2, its.threshold_j_per_mm2)
    scorched *= 1 - ramp(felt, its.threshold_j_per_mm2, its.saturation_j_per_mm2)
    blue = (1 - brown * scorched).astype(np.float32) if brown else None
    return Tile(wiped, 1 / MM_PER_PX, card), Tile(painted, 1 / MM_PER_PX, card, blue)
