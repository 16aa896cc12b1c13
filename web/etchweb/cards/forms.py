"""What the forms of *Test cards* say, read into orders and questions; refusals are sentences."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Final

from etchproof.card import UNGLAZED_BACK, WITHOUT_RECIPE
from etchproof.choosing.kinds import MOST_CYCLES, TREATMENTS
from etchweb.catalogue.pairs import Pair
from etchweb.server.forms import Form, FormUnfit, number
from etchweb.text.formatting import as_sentence
from etchwire.catalogue.heads import Recipe
from etchwire.catalogue.records import SparePlace, require_name, with_own_figures
from etchwire.errors import UnreadableSheet
from etchwire.transport.json_text import JsonTable

# What a person wants to know: the kind of card, the question, and what it is good for.
CARD_QUESTIONS: Final = {
    "focus": (
        "How high must the laser stand?",
        "A focus card: thin lines on a tile that lies on a wedge show where they are finest, and "
        "how wide the spot is.",
    ),
    "power": (
        "Which speed and power?",
        "For a laser, a tile or a paint that nobody has tried yet: patches from weak to strong.",
    ),
    "check": (
        "Does the recipe hold on a new can or box?",
        "A strip of 20 × 100 mm: the recipe holds, needs a shift, or a new test. One photo.",
    ),
    "reserve": (
        "How much reserve does this tile need?",
        "The same patches at the centre and the corners: how much the dose it needs varies.",
    ),
    "five": (
        "Does the recipe still hold?",
        "After many hours of burning: five patches round the recipe.",
    ),
    "spacing": (
        "How far apart can the lines be?",
        "A spacing card: one tone with its lines closer together and further apart. The coarsest "
        "that still close are the fastest.",
    ),
    "tone": (
        "How do greys come out?",
        "Steps from bare to black, so that a photo’s greys look on the tile as they should.",
    ),
    "register": (
        "Do the rows meet?",
        "Hairlines burnt to the right against hairlines burnt to the left.",
    ),
}
MARKS: Final = ("good", "too light", "rubs off", "glaze damaged", "could not tell")
UNMARK: Final = "no mark"
PHOTO_HALFTONE: Final = "jarvis"
_LARGEST_PLACE_MM: Final = 1000.0


def card_order(
    form: Form, pair: Pair | None, card_number: int, taken: Sequence[SparePlace] = ()
) -> JsonTable:
    """Return what is wanted as etchproof.layout.card_order has it; raise FormUnfit.

    `taken` are the places that cards have taken of any spare tile.
    """
    if pair is None:
        raise FormUnfit("Choose which laser etches it, and on which tile and paint.")
    kind = form.get("finds", "")
    if kind not in CARD_QUESTIONS:
        raise FormUnfit("Choose what the test card is to find out.")
    recipe = pair.job_recipe
    if recipe is None and kind not in WITHOUT_RECIPE:
        raise FormUnfit(
            "There is no recipe yet for this laser on this tile and paint. First find speed and "
            "power."
        )
    place = [
        number(form, name, label, least=10, most=_LARGEST_PLACE_MM)
        for name, label in (
            ("place_width_mm", "The width of its place in millimetres"),
            ("place_height_mm", "The height of its place in millimetres"),
        )
    ]
    if form.get("side") == "back":
        raise FormUnfit(as_sentence(UNGLAZED_BACK))
    spacing = pair.head.usual_spacing_mm if recipe is None else recipe.line_spacing_mm
    if kind == "power" and form.get("spacing_mm", "").strip():
        spacing = number(form, "spacing_mm", "The line spacing in millimetres", least=0.02, most=1)
    if kind == "focus":
        recipe = _focus_recipe(form, recipe, surface=pair.key[1], spacing_mm=spacing)
    order = {
        "kind": kind,
        "recipe": None if recipe is None else recipe.to_table(),
        "is_high_dose_meant": form.get("high_dose") == "yes",
        "wishes": {
            "number": card_number,
            "head": pair.head.to_table(),
            "surface": pair.key[1],
            "line_spacing_mm": spacing,
            "halftone": (pair.recipe.halftone if pair.recipe else "") or PHOTO_HALFTONE,
            "place_mm": place,
            "air_assist": form.get("air_assist") == "yes",
        },
    }
    order |= _spare(form, place, taken)
    if kind == "focus":
        return {**order, "wedge": _wedge(form)}
    return {**order, **_finer(form)}


def _focus_recipe(
    form: Form, recipe: Recipe | None, *, surface: str, spacing_mm: float
) -> Recipe | None:
    """Return what a focus card is burnt with: the recipe, with the speed and power said for it.

    None leaves both to the card.
    """
    feed: float | None = None
    power_ratio: float | None = None
    if form.get("focus_feed", "").strip():
        label = "The focus card's speed in mm/min"
        feed = number(form, "focus_feed", label, least=1, most=100_000)
    if form.get("focus_percent", "").strip():
        label = "The focus card's power in percent"
        power_ratio = number(form, "focus_percent", label, least=0.1, most=100) / 100
    if recipe is not None:
        return replace(
            recipe,
            feed_mm_per_min=recipe.feed_mm_per_min if feed is None else feed,
            power_ratio=recipe.power_ratio if power_ratio is None else power_ratio,
        )
    if feed is None and power_ratio is None:
        return None
    if feed is None or power_ratio is None:
        raise FormUnfit("Give both the focus card’s speed and its power, or leave both empty.")
    return Recipe(
        surface=surface,
        feed_mm_per_min=feed,
        power_ratio=power_ratio,
        line_spacing_mm=spacing_mm,
    )


def _wedge(form: Form) -> JsonTable:
    """Return how the tile of a focus card is packed up."""
    wedge: dict[str, object] = {"bed_place": form.get("bed_place", "")} | {
        name: number(form, name, label, least=0, most=_LARGEST_PLACE_MM)
        for name, label in (
            ("left_mm", "How far up the left end stands, in millimetres,"),
            ("right_mm", "How far up the right end stands, in millimetres,"),
            ("length_mm", "The tile's length in millimetres"),
        )
    }
    if form.get("start_mm", "").strip():
        label = "The distance from the tile's left end to the card, in millimetres,"
        wedge["start_mm"] = number(form, "start_mm", label, least=0, most=_LARGEST_PLACE_MM)
    return wedge


def _spare(form: Form, place_mm: Sequence[float], taken: Sequence[SparePlace]) -> JsonTable:
    """Return the spare tile that is named, with what is taken of it; its size is remembered."""
    name = form.get("spare", "").strip()
    if not name:
        return {}
    try:
        require_name("spare tile", name)
    except UnreadableSheet as unfit:
        raise FormUnfit(as_sentence(str(unfit))) from unfit
    used = [place for place in taken if place.tile == name]
    width_mm, height_mm = place_mm
    if used:
        width_mm, height_mm = used[0].tile_width_mm, used[0].tile_height_mm
    tables = [place.to_table() for place in used]
    return {"spare": {"name": name, "width_mm": width_mm, "height_mm": height_mm, "used": tables}}


def _finer(form: Form) -> JsonTable:
    """Return the speeds and powers of a finer card, where they are said."""
    names = ("low_feed", "high_feed", "low_percent", "high_percent", "speeds", "powers")
    if not any(form.get(name, "").strip() for name in names[:4]):
        return {}
    low_feed, high_feed = (
        number(form, name, "Each speed in mm/min", least=1, most=100_000) for name in names[:2]
    )
    low, high = (
        number(form, name, "Each power in percent", least=0.1, most=100) for name in names[2:4]
    )
    if low_feed >= high_feed or low >= high:
        raise FormUnfit("The lower speed and power come first, the higher ones second.")
    steps = [round(number(form, name, "How many steps", least=2, most=12)) for name in names[4:]]
    return {
        "feeds_mm_per_min": [low_feed, high_feed],
        "power_ratios": [low / 100, high / 100],
        "steps": steps,
    }


def trial_in(form: Form) -> JsonTable | None:
    """Return what a strip went through since it was read; None where it is no durability trial."""
    treatment = form.get("treatment", "")
    if not treatment:
        return None
    if treatment not in TREATMENTS:
        raise FormUnfit(f"A trial is one of {', '.join(TREATMENTS)}.")
    cycles = number(form, "cycles", "The number of cycles", least=1, most=MOST_CYCLES)
    return {"treatment": treatment, "cycles": round(cycles)}


def marks_after(
    form: Form, before: Mapping[str, str], cells: Collection[str], words: Sequence[str] = MARKS
) -> dict[str, str]:
    """Return the marks of a card's patches once those ticked got the word pressed."""
    word = form.get("mark", "")
    ticked = form.getlist("patch")
    if word not in (*words, UNMARK):
        raise FormUnfit(f"A patch is {', '.join(words)}.")
    if not ticked:
        raise FormUnfit("Tap the patches first, then say what they are.")
    if not set(ticked) <= set(cells):
        raise FormUnfit("That patch is not on this test card.")
    marks = dict(before)
    for cell in ticked:
        marks.pop(cell, None)
        if word != UNMARK:
            marks[cell] = word
    return marks


def meeting_pairs(form: Form, feeds: Mapping[float, int]) -> dict[str, str]:
    """Return which pair is one line at each speed, `feeds` saying how many pairs each has."""
    meets = {}
    for feed, pairs in feeds.items():
        label = f"The pair at {feed:g} mm/min"
        meets[f"{feed:g}"] = f"{number(form, f'pair at {feed:g}', label, least=1, most=pairs):g}"
    return meets


def chosen_recipe(form: Form, recommended: JsonTable) -> JsonTable:
    """Return the recipe to bring into force: what is recommended, or a person's own figures."""
    feed = number(form, "feed", "The speed in mm/min", least=1, most=100_000)
    percent = number(form, "percent", "The power in percent", least=0.1, most=100)
    return with_own_figures(recommended, {"feed_mm_per_min": feed, "power_ratio": percent / 100})
