"""Cards burnt on the practice machine in memory, and wiped: its surfaces are none of ours."""

from darkroom.tile import Tile
from etchpractice.machine import PracticeMachine
from etchpractice.tile.surface import surface_named
from etchproof.card import Card
from etchproof.layout.job import prepare_card
from etchwire.sheet import GCODE_NAME
from support.harnesses.practice_host import Host

MM_PER_PX = 0.025


def run_on_practice(gcode, head, surface, **machine):
    """Run a file on a practice machine of this head and return it, at rest."""
    host = Host(PracticeMachine(head=head, surface=surface, **machine))
    host.run(*gcode.decode("ascii").splitlines(), within_s=20_000)
    assert not [reply for reply in host.replies if reply != "ok"]
    return host.machine


def burn_on_practice(card: Card, surface: str, folder, **machine) -> Tile:
    """Prepare, burn and wipe a card; `machine` are settings of the practice machine."""
    sheet = prepare_card(card, folder=folder, is_replacing=True)
    run = run_on_practice((folder / GCODE_NAME).read_bytes(), card.head, surface, **machine)
    place = sheet.picture
    seen = run.tile.reflectance(
        mm_per_px=MM_PER_PX,
        rectangle=(place.left_mm, place.bottom_mm, place.right_mm, place.top_mm),
    )
    return Tile(seen / surface_named(surface).tile_reflectance, 1 / MM_PER_PX, card)
