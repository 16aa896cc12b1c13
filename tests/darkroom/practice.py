"""Cards burnt on the practice machine in memory, and wiped: its surfaces are none of ours."""

import numpy as np

from darkroom.straight_light import NotKeptUp, lay_light
from darkroom.tile import Tile
from etchpractice.machine import PracticeMachine
from etchpractice.tile.surface import ramp, surface_named
from etchproof.card import Card
from etchproof.layout.job import prepare_card
from etchwire.sheet import GCODE_NAME
from support.harnesses.practice_host import Host

MM_PER_PX = 0.025
# Seldom enough to be quick, and no line comes too late for the planner: what the controller has
# received lasts for 20 ms of single dots, and where lines are longer it answers less often.
HEARS_EVERY_S, HEARS_AT_LEAST_EVERY_S = 0.004, 0.016


def burnt_by_practice(gcode, head, surface, **machine):
    """Return a practice machine of this head whose tile has the light of a file on it."""
    return _burn(gcode, PracticeMachine(head=head, surface=surface, **machine))


def _burn(gcode, machine):
    """Lay the light straight; run the file where the controller cannot keep up with its lines."""
    try:
        lay_light(gcode, machine)
    except NotKeptUp:
        run(gcode, machine)
    return machine


def run(gcode, machine):
    """Run a file on a practice machine and return it, at rest."""
    host = Host(machine, step_s=HEARS_EVERY_S, longest_step_s=HEARS_AT_LEAST_EVERY_S)
    host.run(*gcode.decode("ascii").splitlines(), within_s=20_000)
    assert not [reply for reply in host.replies if reply != "ok"]
    return machine


def burn_on_practice(card: Card, surface: str, folder, **machine) -> Tile:
    """Prepare, burn and wipe a card; `machine` are settings of the practice machine."""
    sheet = prepare_card(card, folder=folder, is_replacing=True)
    burnt = burnt_by_practice((folder / GCODE_NAME).read_bytes(), card.head, surface, **machine)
    return Tile(_wiped(burnt.tile, _rectangle(sheet)), 1 / MM_PER_PX, card)


def burn_on_surfaces(card: Card, names, folder) -> dict[str, Tile]:
    """Prepare a card, burn it on each surface of these names, and wipe them.

    What head and beam do does not depend on the surface: the tiles share the light of one run.
    """
    sheet = prepare_card(card, folder=folder, is_replacing=True)
    machine, *others = (PracticeMachine(head=card.head, surface=name) for name in names)
    tiles = [machine.tile, *(one.tile for one in others)]
    machine.tile.expose = _share_light(tiles)
    tiles[0] = _burn((folder / GCODE_NAME).read_bytes(), machine).tile  # asked for: the last light
    where = _rectangle(sheet)
    return {
        name: Tile(_wiped(tile, where), 1 / MM_PER_PX, card)
        for name, tile in zip(names, tiles, strict=True)
    }


def _share_light(tiles):
    """Return what stands for the first tile's `expose`: the same light falls on each."""
    exposing = [tile.expose for tile in tiles]

    def expose(strokes):
        for falls_on in exposing:
            falls_on(strokes)

    return expose


def _rectangle(sheet):
    place = sheet.picture
    return place.left_mm, place.bottom_mm, place.right_mm, place.top_mm


def _wiped(tile, where):
    seen = tile.reflectance(mm_per_px=MM_PER_PX, rectangle=where)
    return seen / tile.surface.tile_reflectance


def burnt_on_practice(card, surface, folder, *, brown=0.0, **machine) -> tuple[Tile, Tile]:
    """Prepare and burn a card; return it wiped and as it lay before, with all of its paint.

    `brown` is the share of blue that paint swallows where it was scorched and nothing fired.
    """
    sheet = prepare_card(card, folder=folder, is_replacing=True)
    burnt = burnt_by_practice((folder / GCODE_NAME).read_bytes(), card.head, surface, **machine)
    where, its, tile = _rectangle(sheet), surface_named(surface), burnt.tile
    painted = tile.reflectance(mm_per_px=MM_PER_PX, rectangle=where, wiped=False)
    painted /= its.paint_reflectance
    felt = tile.exposure_j_per_mm2(where)[::-1]  # as many cells as the picture has pixels
    scorched = ramp(felt, its.scorch_j_per_mm2, its.threshold_j_per_mm2)
    scorched *= 1 - ramp(felt, its.threshold_j_per_mm2, its.saturation_j_per_mm2)
    blue = (1 - brown * scorched).astype(np.float32) if brown else None
    return Tile(_wiped(tile, where), 1 / MM_PER_PX, card), Tile(painted, 1 / MM_PER_PX, card, blue)
