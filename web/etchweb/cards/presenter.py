"""What the pages *Test cards* show, in words and figures: pure."""

from collections.abc import Iterator, Mapping
from typing import Final

from etchproof.card import CHECK, Card, HairlinePair, Patch
from etchproof.choosing.kinds import MOST_CYCLES, TREATMENTS
from etchweb.cards.charts import (
    ChartGeometry,
    darkness_chart,
    focus_chart,
    spacing_chart,
    tone_chart,
)
from etchweb.cards.forms import CARD_QUESTIONS
from etchweb.text.formatting import as_sentence, grouped, percent, short_duration, span
from etchweb.text.view import View
from etchwire.calls.catalogue import CardEntry, WholeCard
from etchwire.transport.json_text import JsonTable

TITLES: Final = {
    "power": "Power card",
    "tone": "Tone card",
    "register": "Register card",
    "focus": "Focus card",
    "check": "Check strip",
    "spacing": "Spacing card",
}
BY_PATCH: Final = ("power", "check")  # kinds whose patches are judged and marked one by one
_DARKNESS: Final[View] = {
    "chart_title": "How dark it gets",
    "across": "burn strength in J/mm²",
    "up": "lightness",
}
_CHART_WORDS: Final[Mapping[str, View]] = {
    **dict.fromkeys(BY_PATCH, _DARKNESS),
    "tone": {
        "chart_title": "What a share burnt looks like",
        "across": "share burnt",
        "up": "share it looks like",
    },
    "focus": {
        "chart_title": "How wide the spot is",
        "across": "the tile’s height in mm",
        "up": "mm across the rows, and dashed along them,",
    },
    "spacing": {
        "chart_title": "How dark patches get",
        "across": "line spacing in mm",
        "up": "lightness, solid and dashed half burnt,",
    },
}


def line_of(card: CardEntry) -> View:
    """Return a line of the list of test cards."""
    if card.reading_id is not None:
        state = "read"
    elif card.run_ended == "complete":
        state = "etched: wipe it, then take its photo"
    elif card.run_id is not None:
        state = "etched in part"
    else:
        state = "not etched yet"
    return {
        "number": card.number,
        "title": TITLES[card.kind],
        "state": state,
        "at": card.at_utc,
        "pair": f"{card.head}, {card.surface}",
    }


def card_view(layout: Card, made: JsonTable | None, record: WholeCard | None) -> View:
    """Return what is known of one test card before it is read."""
    return {
        "kind": layout.kind,
        "title": TITLES[layout.kind],
        "laser": layout.head.name,
        "surface": layout.recipe.surface,
        "size": f"{layout.width_mm:.0f} × {layout.height_mm:.0f} mm",
        "lasts": short_duration(made["predicted_s"]) if made else "",
        "picture": _picture_of(made, record),
        "notes": [as_sentence(note) for note in layout.notes],
        "settings": settings_of(layout),
        "is_on_wedge": layout.wedge is not None,
        "other_doses": _other_doses(layout),
        "trials": TREATMENTS if layout.kind == CHECK else (),
        "most_cycles": MOST_CYCLES,
        "is_burnt": record is not None and record.run_id is not None,
        "run": record.run_id if record else None,
    }


def _other_doses(layout: Card) -> list[tuple[str, View]]:
    """Return focus cards like this one with more and less dose: words, and the form filled in."""
    wedge = layout.wedge
    if wedge is None:
        return []
    where: View = {
        "left_mm": f"{wedge.left_mm:g}",
        "right_mm": f"{wedge.right_mm:g}",
        "length_mm": f"{wedge.length_mm:g}",
        "bed_place": wedge.bed_place,
    }
    offers: list[tuple[str, View]] = []
    for words, share in (("twice the dose", 2.0), ("half the dose", 0.5)):
        feed = f"{round(layout.recipe.feed_mm_per_min / share)}"  # too fast a one gets less power
        power = f"{layout.recipe.power_ratio * 100:.3g}"
        offers.append((words, {**where, "focus_feed": feed, "focus_percent": power}))
    return offers


def _picture_of(made: JsonTable | None, record: WholeCard | None) -> str:
    if made is not None:
        return str(made["gcode_sha256"])
    return "" if record is None else record.gcode_sha256


def settings_of(layout: Card) -> str:
    """Return the speeds and powers on a card."""
    burnt: tuple[Patch | HairlinePair, ...] = (*layout.patches, *layout.hairlines)
    feeds = sorted({one.feed_mm_per_min for one in burnt})
    powers = sorted({one.power_ratio for one in burnt})
    return (
        f"{span(grouped(feeds[0]), grouped(feeds[-1]))} mm/min, "
        f"{span(percent(powers[0]), percent(powers[-1]))} %"
    )


def pairs_by_feed(layout: Card) -> dict[float, int]:
    """Return how many pairs of hairlines a register card has at each speed."""
    counts: dict[float, int] = {}
    for pair in layout.hairlines:
        counts[pair.feed_mm_per_min] = counts.get(pair.feed_mm_per_min, 0) + 1
    return counts


def result_view(layout: Card, read: JsonTable) -> View:
    """Return what a test card told: sentences, a chart, and what may be chosen."""
    told, kind = read["told"], layout.kind
    view = {
        "recommended": read["recommended"],
        "sentences": _sentences_of(kind, told),
        "chart": _chart_of(kind, told),
        "is_wiping_asked": told.get("is_wiping_asked", False),
        "to_try": patch_to_try(told),
        **_CHART_WORDS.get(kind, {}),
    }
    if kind not in BY_PATCH:
        return view
    return {
        **view,
        "finer": _finer(told["next_range"]) if kind == "power" else None,
        "recipe": _recipe_fields(read["recommended"]),
    }


def _sentences_of(kind: str, told: JsonTable) -> list[str]:
    if kind == "tone":
        return list(_tone_sentences(told))
    if kind == "register":
        return list(_register_sentences(told))
    return [as_sentence(sentence) for sentence in told["sentences"]]


def _chart_of(kind: str, told: JsonTable) -> ChartGeometry | None:
    if kind in BY_PATCH:
        return darkness_chart(told["chart"])
    if kind == "tone":
        return tone_chart(told["burnt"], told["effective"])
    if kind == "focus":
        return focus_chart(told["fitted"], told["seen"])
    if kind == "spacing":
        return spacing_chart(told["seen"], told["best"]["spacing_mm"])
    return None


def patch_to_try(told: JsonTable) -> str:
    """Return the patch to be tried with a fingernail before its recipe is taken, else nothing."""
    return str(told["choice"]["cell"]) if told.get("is_fingernail_asked") else ""


def _finer(wanted: JsonTable) -> View:
    return {
        "low_feed": round(wanted["low_feed_mm_per_min"]),
        "high_feed": round(wanted["high_feed_mm_per_min"]),
        "low_percent": round(wanted["low_power_ratio"] * 100, 1),
        "high_percent": round(wanted["high_power_ratio"] * 100, 1),
    }


def _recipe_fields(recommended: JsonTable | None) -> View | None:
    if not recommended:
        return None
    recipe = recommended["recipe"]
    return {
        "feed": round(recipe["feed_mm_per_min"]),
        "percent": round(recipe["power_ratio"] * 100, 1),
    }


def _tone_sentences(told: JsonTable) -> Iterator[str]:
    more = "darker" if told["tvi_percent"] >= 0 else "lighter"
    yield (
        f"An area half burnt looks {abs(told['tvi_percent']):.0f} points {more} than half; the "
        "curve corrects that in every photo."
    )
    yield f"Black reflects {told['black'] * 100:.0f} % of what the bare tile does."
    yield from told.get("sentences", ())  # what was read by an earlier version has none


def _register_sentences(told: JsonTable) -> Iterator[str]:
    for apart in told["at_speeds"]:
        yield (
            f"At {grouped(apart['feed_mm_per_min'])} mm/min the two directions land "
            f"{apart['apart_mm']:z.2f} mm apart, give or take {apart['doubt_mm']:.3f} "
            "(nine times in ten it is within that)."
        )
    yield "Once this is saved, every picture etched both ways is shifted so that its rows meet."


def card_questions() -> list[tuple[str, str, str]]:
    """Return the kinds of test card, each with its question and what it is good for."""
    return [(kind, question, use) for kind, (question, use) in CARD_QUESTIONS.items()]
