"""Cards for tests, on an invented head."""

from functools import lru_cache

from etchproof.layout.border import Place
from etchproof.layout.card_request import CardRequest
from etchproof.layout.grid import Grid
from etchproof.layout.power_card import lay_out_power_card
from etchproof.layout.ranges import starting_range
from etchproof.layout.reach import photo_reach_mm_per_min
from etchproof.layout.register_card import lay_out_register_card
from etchproof.layout.tone_card import lay_out_tone_card
from etchwire.catalogue.heads import Head, Recipe, Register

HEAD = Head(
    name="the invented head",
    rated_optical_w=20.0,
    spot_x_mm=0.08,
    spot_y_mm=0.08,
    is_spot_measured=True,
    max_s=1000.0,
    max_feed_mm_per_min=10000.0,
    acceleration_mm_per_s2=1000.0,
    travel_x_mm=400.0,
    travel_y_mm=400.0,
    register=Register(beam_lag_s=0.0004, slack_mm=0.06, is_measured=True),
)
RECIPE = Recipe(
    surface="an invented tile", feed_mm_per_min=3000.0, power_ratio=0.55, line_spacing_mm=0.1
)
ROOM = Place(100.0, 100.0)


def wishes(*, number=7, head=HEAD, surface="an invented tile", place=ROOM, **changes):
    said = {"line_spacing_mm": 0.1, "halftone": "jarvis"} | changes
    return CardRequest(number=number, head=head, surface=surface, place=place, **said)


def reach(head=HEAD):
    return photo_reach_mm_per_min(head, 0.1, "jarvis")


def first_grid(head=HEAD, steps=(6, 6)):
    return Grid.over(starting_range(head, reach(head)), *steps)


@lru_cache(maxsize=16)
def power_card(number=7, head=HEAD, steps=(6, 6)):
    return lay_out_power_card(wishes(number=number, head=head), first_grid(head, steps))


@lru_cache(maxsize=4)
def tone_card(number=8, recipe=RECIPE):
    return lay_out_tone_card(wishes(number=number), recipe)


@lru_cache(maxsize=4)
def register_card(number=9, recipe=RECIPE):
    return lay_out_register_card(wishes(number=number), recipe)
