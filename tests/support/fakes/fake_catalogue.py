"""What a daemon for page tests knows of lasers, surfaces, recipes, cards: all invented."""

from typing import Any, Final

from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES, PRACTICE_SURFACES
from etchwire.errors import Refused
from support.samples.sheets import JIG_TABLE

MADE_UTC: Final = "2026-11-24T09:00:00+00:00"

HEADS: Final = [
    {
        "name": head.name,
        "head": head.to_table(),
        "notes": "",
        "is_practice": True,
        "who": "practice",
        "changed_at_utc": MADE_UTC,
        "beam_s": 5400.0,
        "lens_wiped_at_utc": None,
        "spot_found": None,
        "beam_since_wipe_s": None,
    }
    for head in PRACTICE_HEADS.values()
]
SURFACES: Final = [
    {
        "name": surface.name,
        "surface": surface.to_table(),
        "is_practice": True,
        "who": "practice",
        "changed_at_utc": MADE_UTC,
    }
    for surface in PRACTICE_SURFACES
]
JIG: Final = {
    "name": "Signs",
    "jig": JIG_TABLE,
    "who": "Ada",
    "changed_at_utc": "2026-11-25T08:00:00+00:00",
}
LOTS: Final = [
    {
        "name": name,
        "lot": {
            "name": name, "surface": PRACTICE_SURFACES[0].name, "painted_at_utc": painted_utc,
            "tiles": 12,
        },
        "dry_after_h": 12.0,
        "is_overnight_assumed": True,
        "dry_at_utc": dry_utc,
        "runs": 3,
        "who": "practice",
        "changed_at_utc": MADE_UTC,
    }
    for name, painted_utc, dry_utc in (
        ("lot 8, wet", "2099-01-01T08:00:00+00:00", "2099-01-01T20:00:00+00:00"),
        ("lot 7", "2026-11-23T08:00:00+00:00", "2026-11-23T20:00:00+00:00"),
    )
]  # fmt: skip
ITEM: Final = {
    "title": "a dog", "width_mm": 90.0, "height_mm": 90.0, "surface": PRACTICE_SURFACES[0].name,
    "count": 2, "text": "Zoë 1999", "place": "coaster", "id": 7,
}  # fmt: skip
ORDER: Final = {
    "id": 3,
    "version": 4,
    "customer": "Ada",
    "due_on": "2026-12-01",
    "note": "by post",
    "may_use_photo_on": "",
    "state": "proof out",
    "who": "Ben",
    "at_utc": MADE_UTC,
    "changed_at_utc": MADE_UTC,
    "forgotten_at_utc": None,
    "items": [
        {
            "id": 7,
            "item": ITEM,
            "fingerprint": "ef" * 32,
            "state": "proof out",
            "to_make": 2,
            "is_surface_known": True,
            "trials": ["dishwasher"],
            "test_tiles_ratio": 0.25,
            "proofs": [
                {
                    "answer": "shown",
                    "shown_sha256": "ef" * 32,
                    "way": "",
                    "at_utc": MADE_UTC,
                    "who": "Ben",
                    "is_current": True,
                }
            ],
            "tiles": [
                {
                    "run_id": 7,
                    "lot": "lot 7",
                    "ended": "complete",
                    "verdict": "pale",
                    "elapsed_s": 2502.0,
                    "beam_s": 1490.0,
                }
            ],
        }
    ],
}
ORDER_LINE: Final = {
    "id": 3, "customer": "Ada", "due_on": "2026-12-01", "state": "proof out", "tiles": 2, "good": 0,
    "to_make": 2,
}  # fmt: skip


def answer_order(**params: Any) -> dict[str, Any]:
    """Answer `order`."""
    if params["id"] != ORDER["id"]:
        raise Refused("refused", f"There is no order {params['id']} in the logbook.")
    return ORDER


RECIPES: Final = [
    {
        **recipe.to_table(),
        "id": number,
        "head": PRACTICE_HEADS[name].name,
        "found_on": PRACTICE_SURFACES[0].to_table(),
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
    }
    for number, (name, recipe) in enumerate(PRACTICE_RECIPES.items(), start=1)
]


def of_pair(entries: list[dict[str, Any]], **params: Any) -> list[dict[str, Any]]:
    """Return the entries of a head and a surface; what is not given stands for all."""
    wanted = {name: params[name] for name in ("head", "surface") if params.get(name)}
    return [one for one in entries if wanted.items() <= one.items()]


def answer_recipes(**params: Any) -> dict[str, Any]:
    """Answer `recipes`."""
    return {"recipes": of_pair(RECIPES, **params)}


def answer_cards(**_params: Any) -> dict[str, Any]:
    """Answer `cards`: none was made yet."""
    return {"cards": [], "next_before": None, "next_number": 1}


def answer_card(**params: Any) -> dict[str, Any]:
    """Answer `card`."""
    raise Refused("refused", f"There is no card {params['number']} in the logbook.")


def answer_reading(**params: Any) -> dict[str, Any]:
    """Answer `reading`."""
    raise Refused("refused", f"There is no reading {params['id']} in the logbook.")


def answer_history(**params: Any) -> dict[str, Any]:
    """Answer `history`: nothing has happened since the recipe was put in."""
    heads = [one for one in HEADS if one["name"] == params["head"]]
    surfaces = [one for one in SURFACES if one["name"] == params["surface"]]
    recipes = of_pair(RECIPES, **params)
    return {
        "head": heads[0] if heads else None,
        "surface": surfaces[0] if surfaces else None,
        "recipe": recipes[0] if recipes else None,
        "beam_h_since_card": 1.5,
        "runs": [],
        "verdicts": [],
        "readings": [],
    }


CRAFT: Final[dict[str, Any]] = {
    "heads": {"heads": HEADS},
    "filter": {"changed_at_utc": MADE_UTC, "beam_since_change_s": 5400.0, "limit_h": 0.0},
    "surfaces": {"surfaces": SURFACES},
    "lots": {"lots": LOTS},
    "jigs": {"jigs": [JIG]},
    "orders": {"orders": [ORDER_LINE], "total": 1, "next_from": None},
    "order": answer_order,
    "shop": {"figures": {}, "who": "", "changed_at_utc": ""},
    "recipes": answer_recipes,
    "cards": answer_cards,
    "card": answer_card,
    "readings": {"readings": [], "next_before": None},
    "reading": answer_reading,
    "time_line": {"events": [], "next_before": None},
    "history": answer_history,
}
