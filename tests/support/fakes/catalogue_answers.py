"""What a daemon answers about lasers, surfaces and recipes, for page tests: all of it invented."""

from dataclasses import asdict
from typing import Any, Final

from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES, PRACTICE_SURFACES
from etchwire.catalogue.records import Surface
from support.fakes.fake_catalogue import MADE_UTC

HEAD: Final = PRACTICE_HEADS["practice-20w"]
RECIPE: Final = PRACTICE_RECIPES["practice-20w"]
SURFACE: Final = PRACTICE_SURFACES[0]
OTHER: Final = Surface(name="blue box, satin", tile="white, 200 mm", batch="7", paint="satin")


def recipe(number: int = 3, **changes: Any) -> dict[str, Any]:
    """Return a recipe as `recipes` tells of it, with the surface as it was then."""
    return {
        "id": number,
        "head": HEAD.name,
        "surface": SURFACE.name,
        "found_on": SURFACE.to_table(),
        "feed_mm_per_min": RECIPE.feed_mm_per_min,
        "power_ratio": RECIPE.power_ratio,
        "line_spacing_mm": RECIPE.line_spacing_mm,
        "air_assist": RECIPE.air_assist,
        "halftone": "",
        "tone_curve": None,
        "origin": "practice",
        "reading_id": None,
        "card_number": None,
        "at_utc": MADE_UTC,
        "who": "practice",
        "software": "0.1.0",
        "retired_at_utc": None,
        "is_in_force": True,
        **changes,
    }


def craft(*recipes: dict[str, Any], **surface: Any) -> dict[str, Any]:
    """Return the three answers: one laser, two surfaces, and `recipes`, or the one in force."""
    now = {**asdict(SURFACE), **surface}
    return {
        "heads": {"heads": [head_entry()]},
        "surfaces": {"surfaces": [surface_entry(one) for one in (now, asdict(OTHER))]},
        "recipes": {"recipes": list(recipes) or [recipe()]},
    }


def surface_entry(surface: dict[str, Any]) -> dict[str, Any]:
    """Return tile and paint as `surfaces` tells of them."""
    return {
        "name": surface["name"],
        "surface": surface,
        "is_practice": True,
        "who": "practice",
        "changed_at_utc": MADE_UTC,
    }


def head_entry(**changes: Any) -> dict[str, Any]:
    """Return a laser as `heads` tells of it."""
    head = {**HEAD.to_table(), **changes}
    return {
        "name": head["name"],
        "head": head,
        "notes": "",
        "is_practice": True,
        "who": "practice",
        "changed_at_utc": MADE_UTC,
        "beam_s": 3600.0,
        "lens_wiped_at_utc": None,
        "spot_found": None,
        "beam_since_wipe_s": None,
    }
