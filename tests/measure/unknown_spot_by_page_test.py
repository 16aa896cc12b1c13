"""From a laser whose spot nobody knows to a portrait, making on the page what the page names next.

`pytest -m measure tests/measure/unknown_spot_by_page_test.py -s`. Machine, tiles and lasers are
invented. Two of the surfaces, and the lasers on them, exist in this file only: no part of the
program was written or tuned by them. Cards go to spare tiles as the page lays them out. Printed
are the cards, what they cost, the recipe, and how true the portrait is.
"""

import html
import re
import time
import urllib.parse
from dataclasses import asdict, dataclass, replace

import pytest

from etchphoto.job.order import FROM_TEST_CARD
from etchpractice.tile.surface import Surface, surface_named
from etchproof.layout.card_order import BESIDE
from etchwire.catalogue.examples import PRACTICE_HEADS
from measure.portrait_truth import MM_PER_PX, SIDE_MM, off_what_it_can_hold, portrait
from support.harnesses.page_by_http import PageRefused, field
from support.harnesses.settings_by_page import Finder

pytestmark = pytest.mark.measure

MOST_CARDS = 10
WEDGE = {"left_mm": 0, "right_mm": 18, "length_mm": 150}
TILE_MM = 150  # a side of the practice tile, which is a spare one here
MINUTE_S = 60
WHITE = surface_named("white-tile")


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A surface, and what the laser on it really is: its watts, and its spot in mm."""

    surface: Surface
    rated_optical_w: float = 20.0
    spot_mm: tuple[float, float] = (0.08, 0.08)


BENCHES = {
    "white-tile": Bench(surface=WHITE),
    "thick-coat": Bench(surface=surface_named("thick-coat")),
    "white-tile-10-w": Bench(surface=WHITE, rated_optical_w=10.0),
    "thick-coat-10-w": Bench(surface=surface_named("thick-coat"), rated_optical_w=10.0),
    # Invented here. Fires late and softly under a weak laser with a long spot.
    "slow-primer": Bench(
        surface=replace(
            WHITE,
            name="slow-primer",
            exponent=1.6,
            scorch_j_per_mm2=0.3,
            threshold_j_per_mm2=0.6,
            saturation_j_per_mm2=1.7,
            damage_j_per_mm2=4.0,
            heat_spread_mm=0.03,
            unevenness=0.025,
            tile_reflectance=0.84,
            fired_reflectance=0.06,
        ),
        rated_optical_w=10.0,
        spot_mm=(0.12, 0.06),
    ),
    # Invented here. Fires early and hard, and its glaze breaks up soon after.
    "brittle-cream": Bench(
        surface=replace(
            WHITE,
            name="brittle-cream",
            exponent=2.2,
            scorch_j_per_mm2=0.15,
            threshold_j_per_mm2=0.35,
            saturation_j_per_mm2=0.7,
            damage_j_per_mm2=1.5,
            heat_spread_mm=0.04,
            unevenness=0.03,
            tile_reflectance=0.7,
            fired_reflectance=0.08,
        ),
        spot_mm=(0.07, 0.10),
    ),
}


@pytest.mark.parametrize("name", BENCHES)
def test_what_the_page_names_next_leads_from_an_unknown_spot_to_a_portrait(name, tmp_path):
    bench, began_s, kinds = BENCHES[name], time.monotonic(), []
    surface, head = tmp_path / f"{name}.toml", tmp_path / "laser.toml"
    surface.write_text(_toml(asdict(bench.surface), without="name"))
    head.write_text(_toml(_laser(bench)))
    with Finder(tmp_path, surface=str(surface), head=head, speedup=40) as finder:
        finder.forget_everything(rated_optical_w=bench.rated_optical_w)
        tiles = SpareTiles(finder)
        while (kind := tiles.next_card()) and len(kinds) < MOST_CARDS:
            kinds += tiles.read(kind)
        recipe, measured = finder.recipe(), finder.head()
        minutes = [run["elapsed_s"] / MINUTE_S for run in finder.runs()][::-1]
        presses = finder.presses
        run = finder.etch_photo(
            portrait(), width_mm=SIDE_MM, height_mm=SIDE_MM, halftone=FROM_TEST_CARD
        )
        place = run["sheet"]["picture"]
        sides = ("left_mm", "bottom_mm", "right_mm", "top_mm")
        finder.tile_picture([place[side] for side in sides], tmp_path / "portrait.png", MM_PER_PX)
    off = off_what_it_can_hold(tmp_path / "portrait.png", str(surface), recipe["line_spacing_mm"])
    print(f"\n{name}, {bench.rated_optical_w:g} W: {', '.join(kinds)}; ", end="")
    print(f"{time.monotonic() - began_s:.0f} s of the wall's")
    print(f"{tiles.count} tiles, {tiles.photos} photos, {sum(minutes):.0f} min of etching ", end="")
    print(f"({', '.join(f'{one:.0f}' for one in minutes)}), ")
    print(f"{presses} buttons pressed for the cards, {finder.presses - presses} for the portrait")
    print(f"spot {measured['spot_x_mm']:g} × {measured['spot_y_mm']:g} mm of ", end="")
    print(f"{bench.spot_mm[0]:g} × {bench.spot_mm[1]:g} mm without heat; ", end="")
    print(f"{recipe['feed_mm_per_min']:.0f} mm/min, {recipe['power_ratio'] * 100:.0f} %, ", end="")
    print(f"lines {recipe['line_spacing_mm']:g} mm")
    print(f"tile against what it can hold: {off:.2f} L* RMS at 350 mm")
    print(f"portrait: {tmp_path / 'portrait.png'}")
    assert kinds[0] == "focus"
    assert set(kinds) == {"focus", "power", "spacing", "tone", "register"}


class SpareTiles:
    """Tiles that are filled with cards, as the page finds places on them."""

    def __init__(self, finder):
        self._finder = finder
        self._lies = ""  # the tile in the machine
        self._wedge = WEDGE  # what is typed for the next focus card
        self._is_again = False
        self.count, self.photos = 1, 0

    def next_card(self):
        """Return the kind of card that is due: another focus card, or what the page names next."""
        return "focus" if self._is_again else self._finder.next_card()

    def read(self, kind):
        """Make, etch, photograph and read a card, and take over what it shows.

        A card that its page wants beside it is etched too, and read in the same photo. Return
        the kinds.
        """
        page = self._etch(kind)
        cards = [(kind, self._finder.number)]
        if BESIDE in html.unescape(page):
            self._etch("spacing")
            cards.append(("spacing", self._finder.number))
        self.photos += 1
        photo = self._finder.photo()
        for one, number in cards:
            self._finder.take_up(number)
            self._take_over(one, photo)
        return [one for one, _ in cards]

    def _etch(self, kind):
        finder, page = self._finder, self._make(kind)
        tile = re.search(r"spare tile (from the box \d+)", html.unescape(page))[1]
        # a practice tile cannot be let down from its wedge: one like it is laid
        is_there = tile == self._lies and kind != "focus"
        finder.etch(is_on_wedge=kind == "focus", is_on_same_tile=is_there)
        self._lies = "" if kind == "focus" else tile
        return page

    def _take_over(self, kind, photo):
        finder = self._finder
        try:
            page = finder.read(photo)
        except PageRefused as refusal:
            if not self._asks_for_another(kind, refusal.page):
                raise
            return
        if kind == "power":
            finder.choose(feed=field(page, "feed"), percent=field(page, "percent"))
        elif 'name="choose" value="yes"' in page:
            finder.choose()
        else:
            finder.save_only()
        self._asks_for_another(kind, page)

    def _asks_for_another(self, kind, page):
        """Return whether another focus card is asked for; its form is filled in by the page."""
        if kind != "focus":
            return False
        asked = {"burnt too far": "half", "lines can be seen at only": "twice"}
        times = next((times for words, times in asked.items() if words in page), None)
        self._is_again = times is not None
        if times is None:
            return False
        print(f"another focus card with {times} the dose")
        self.count += 1  # the practice wedge is in focus where a tile's first card lies
        query = re.search(rf'href="/test-tiles/new\?([^"]+)">{times} the dose', page)[1]
        filled = dict(urllib.parse.parse_qsl(html.unescape(query)))
        self._wedge = {name: filled[name] for name in filled if name not in ("pair", "finds")}
        return True

    def _make(self, kind):
        try:
            return self._on(kind)
        except PageRefused as refusal:
            if "No place is left" not in str(refusal):
                raise
        self.count += 1
        return self._on(kind)

    def _on(self, kind):
        more = self._wedge if kind == "focus" else {}
        return self._finder.make(
            finds=kind, spare=f"from the box {self.count}",
            place_width_mm=TILE_MM, place_height_mm=TILE_MM, **more,
        )  # fmt: skip


def _laser(bench):
    spot_x_mm, spot_y_mm = bench.spot_mm
    really = {"rated_optical_w": bench.rated_optical_w, "spot_x_mm": spot_x_mm,
              "spot_y_mm": spot_y_mm}  # fmt: skip
    return PRACTICE_HEADS["practice-20w"].to_table() | really


def _toml(table, *, without=""):
    plain = {name: value for name, value in table.items() if name != without}
    lines = [f"{name} = {_said(value)}" for name, value in plain.items()
             if not isinstance(value, dict) and value is not None]  # fmt: skip
    return "\n".join(lines) + "\n"


def _said(value):
    return str(value).lower() if isinstance(value, bool) else repr(value).replace("'", '"')
