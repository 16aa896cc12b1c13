"""What the forms of lasers, and of tiles and paints, say; each refusal is a sentence."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from etchweb.server.forms import Form, FormUnfit, number
from etchwire.catalogue.heads import ASSUMED_SPOT_MM, Head
from etchwire.catalogue.records import COATINGS, LONGEST_WAIT_MIN, WIPINGS, Surface
from etchwire.errors import UnreadableSheet

INPUT_WATTS: Final = (
    "Optical watts. The maker’s box often gives electrical watts: four or five times as many."
)

SPOT: Final = "Width of its spot, from the maker. Leave it empty to measure it with a focus card."

# Entry of etchwire.catalogue.heads.Head, what the form calls it, its unit, a hint. What a person
# is asked for, and what a connected controller tells.
ASKED_FIELDS: Final = (
    ("rated_optical_w", "Light output, W", INPUT_WATTS),
    ("spot_x_mm", "Spot, mm", SPOT),
)  # fmt: skip
TOLD_FIELDS: Final = (
    ("max_s", "Controller full power", "Its number for full power, setting $30; often 1000."),
    ("max_feed_mm_per_min", "Fastest, mm/min", ""),
    ("acceleration_mm_per_s2", "Acceleration, mm/s²", ""),
    ("travel_x_mm", "Travel to the right, mm", ""),
    ("travel_y_mm", "Travel away from you, mm", ""),
)  # fmt: skip
SPOT_HEIGHT: Final = (
    "spot_y_mm", "Spot height, mm",
    "Left empty: as high as wide. Lines are never closer than this.",
)  # fmt: skip
HEAD_FIELDS: Final = (*ASKED_FIELDS, SPOT_HEIGHT, *TOLD_FIELDS)
_MOST_DIGITS: Final = 6  # Python reads no number of thousands
_LARGEST: Final = 1_000_000.0

# Entry of etchwire.catalogue.records.Surface, and what the form calls it.
SURFACE_FIELDS: Final = (
    ("tile", "Tile: make and glaze"),
    ("batch", "Box or batch"),
    ("paint", "Paint"),
    ("can", "Can"),
)
WIPING_FIELDS: Final = (
    ("solvent", "Wiped with (water, thinner)"),
    ("cloth", "Cloth or pad"),
)


def head_in(form: Form, known: Head | None) -> Head:
    """Return the laser that was typed; what no form asks for stays as `known` has it."""
    figures = {
        name: number(form, name, label, least=0.0001, most=_LARGEST)
        for name, label, _ in (*ASKED_FIELDS, *TOLD_FIELDS)
        if name != "spot_x_mm"
    }
    spot_x_mm, spot_y_mm = _spot_mm(form)
    typed = figures | {
        "name": form.get("name", "").strip(),
        "spot_x_mm": spot_x_mm or ASSUMED_SPOT_MM,
        "spot_y_mm": spot_y_mm or spot_x_mm or ASSUMED_SPOT_MM,
        "is_spot_stated": bool(spot_x_mm or spot_y_mm),
        "is_spot_measured": bool(spot_x_mm) and form.get("is_spot_measured") == "yes",
    }
    with refusals_as_sentences():
        return Head.from_table({**(known.to_table() if known else {}), **typed})


def _spot_mm(form: Form) -> tuple[float, ...]:
    """Return the spot's width and height as they were typed; 0 where nothing was."""
    return tuple(
        number(form, name, label, least=0.0001, most=_LARGEST) if form.get(name, "").strip() else 0
        for name, label, _ in (ASKED_FIELDS[1], SPOT_HEIGHT)
    )


def surface_in(form: Form, known: Surface | None) -> Surface:
    """Return the tile and paint that were typed; the painting lot stays as `known` has it."""
    fields = (*SURFACE_FIELDS, *WIPING_FIELDS)
    names = (*(name for name, _ in fields), "name", "coated_on", "notes")
    coating = form.get("coating", "")
    if coating not in COATINGS:
        raise FormUnfit("Choose how the paint was put on.")
    wiping = form.get("wiping", "")
    if wiping not in WIPINGS:
        raise FormUnfit("Choose how hard it is wiped.")
    wait_min = 0.0
    if form.get("wait_min", "").strip():
        label = "The minutes before wiping"
        wait_min = number(form, "wait_min", label, least=0, most=LONGEST_WAIT_MIN)
    coats = form.get("coats", "").strip() or "0"
    if not coats.isascii() or not coats.isdigit() or len(coats) > _MOST_DIGITS:
        raise FormUnfit("The number of coats must be whole.")
    with refusals_as_sentences():
        return Surface.from_table(
            {name: form.get(name, "").strip() for name in names}
            | {"coating": coating, "coats": int(coats), "wiping": wiping, "wait_min": wait_min}
            | {"lot": known.lot if known else ""}
        )


@contextmanager
def refusals_as_sentences() -> Iterator[None]:
    """Raise FormUnfit, with a sentence, for what a record refuses."""
    try:
        yield
    except UnreadableSheet as unfit:
        text = str(unfit)
        raise FormUnfit(f"{text[:1].upper()}{text[1:]}.") from unfit
