"""What the forms of *New picture* say, read into a draft; each refusal is a sentence."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from etchphoto.grey_mixes import GREY_MIXES
from etchweb.catalogue.pairs import Pair, pair_of_key
from etchweb.drafts.draft import STEPS_TO_DOUBLE, Draft
from etchweb.drafts.halftones import EVERY_HALFTONE, HALFTONE_CHOICES, LETTERING, SMOOTH, TEST_CARD
from etchweb.server.forms import Form, FormUnfit, number
from etchwire.catalogue.heads import Recipe
from etchwire.catalogue.power_pulses import pulse_note

LARGEST_MM: Final = 2000.0
MOST_TILES: Final = 100  # etchphoto's murals can have more: a small box's card cannot
WIDEST_JOINT_MM: Final = 50.0
LONGEST_CALLED: Final = 60
LEAST_CUT: Final = 0.02  # of the photo's side
FULL_TONE: Final = 100
RETOUCHES: Final = {"face_light": 0, "fade": 0}
TONES: Final = {  # name: the least a slider may say
    "lighter": -FULL_TONE,
    "contrast": -FULL_TONE,
    "local_contrast": 0,
    "sharpness": 0,
    "open_shadows": 0,
}
# What looks far round each dot, while a mural is worked out strip by strip; and a tile's number.
NOT_ON_WALLS: Final[dict[str, Any]] = {"local_contrast": 0, "sharpness": 0, "has_number": False}
_PERCENT: Final = 100.0
DARKEST_OFF: Final = 30.0  # L* that a tile may be off the others; white ends at 100
LIGHTEST_OFF: Final = 5.0
_SHADE: Final = re.compile(r"([0-9]{1,3})\s*[:=]?\s*([+-]?[0-9]{1,2}(?:[.,][0-9]{1,3})?)")
ENOUGH_FADE: Final = 75  # the edge that dark backgrounds are looked for in comes out white
OVAL_FIELDS: Final = (  # name, words, least
    ("oval_x", "Its centre from the left, %", 0.0),
    ("oval_y", "Its centre from the top, %", 0.0),
    ("oval_wide", "Its width, %", 1.0),
    ("oval_high", "Its height, %", 1.0),
)
EARLIER_WALL: Final = "earlier-wall"
_DIGITS: Final = 16  # fewer: beyond that JSON's readers disagree
_MM_MOST_OFF: Final = 10_000.0

Part = tuple[float, float, float, float]  # left, top, right and bottom, in shares of the photo


def with_tile(draft: Draft, form: Form, pairs: Sequence[Pair], shape: float | None = None) -> Draft:
    """Return `draft` with its name and size, and the laser, tile, paint and settings to etch with.

    Without a height it has the `shape` of what is etched, height over width, if that is given.
    """
    wall = draft.wall if draft.is_sign or "columns" not in form else _wall_in(form)
    if wall:
        shape = None  # that of the tiles is not the photo's
    width_mm = number(form, "width_mm", "The width in millimetres", least=1, most=LARGEST_MM)
    if shape is None or form.get("height_mm", "").strip():
        height_mm = number(form, "height_mm", "The height in millimetres", least=1, most=LARGEST_MM)
    else:
        height_mm = min(max(round(width_mm * shape, 1), 1.0), LARGEST_MM)
    pair = _pair(form, pairs)
    _require_room(pair, width_mm, height_mm)
    recipe, caution = pair.job_recipe, pair.caution
    by_hand = _by_hand(form, pair)
    if by_hand is not None:
        recipe, caution = by_hand, _by_hand_caution(by_hand, pair)
    was, now = (draft.width_mm, draft.height_mm, draft.wall), (width_mm, height_mm, wall)
    found_with = pair.recipe.halftone if pair.recipe else ""
    halftone, is_chosen = draft.halftone, draft.is_halftone_chosen
    if not is_chosen and pair.tone and found_with in HALFTONE_CHOICES:
        halftone, is_chosen = found_with, True
    elif halftone == TEST_CARD and (
        (draft.recipe, draft.tone) != (recipe, pair.tone)  # another card may have told no dot
        or (wall and wall != draft.wall)  # and over a wall it takes long: chosen by a person
    ):
        halftone, is_chosen = SMOOTH, False
    return replace(
        draft,
        called=" ".join(form.get("called", draft.called).split())[:LONGEST_CALLED],
        width_mm=width_mm,
        height_mm=height_mm,
        head=pair.head,
        recipe=recipe,
        tone=pair.tone,
        chosen=pair.key,
        caution=caution,
        wall=wall,
        shades=_shades_in(form, wall) if "columns" in form else draft.shades,
        crop=draft.crop if was == now else None,
        halftone=halftone,
        is_halftone_chosen=is_chosen,
        **(NOT_ON_WALLS if wall else {}),
    )


def _wall_in(form: Form) -> tuple[int, int, float] | None:
    """Return tiles across and down, and the joint; None for one tile alone."""
    columns, rows = (
        number(form, name, label, least=1, most=MOST_TILES)
        for name, label in (("columns", "How many tiles across"), ("rows", "How many tiles down"))
    )
    if columns != int(columns) or rows != int(rows) or columns * rows > MOST_TILES:
        raise FormUnfit(f"A picture can lie over up to {MOST_TILES} whole tiles.")
    if columns * rows == 1:
        return None
    joint_mm = number(form, "joint_mm", "The joint in millimetres", least=0, most=WIDEST_JOINT_MM)
    return int(columns), int(rows), joint_mm


def _shades_in(form: Form, wall: tuple[int, int, float] | None) -> tuple[tuple[int, float], ...]:
    """Return the tiles of another white, each with its difference in L*; of one tile, none."""
    if wall is None:
        return ()
    found: dict[int, float] = {}
    for line in filter(None, map(str.strip, form.get("shades", "").splitlines())):
        said = _SHADE.fullmatch(line)
        if said is None or not 1 <= int(said[1]) <= wall[0] * wall[1] or int(said[1]) in found:
            raise FormUnfit(
                f"Of tiles of another white, “{line:.40}” cannot be meant: write each tile once on "
                f"a line, its number from 1 to {wall[0] * wall[1]} and the difference, as 5: -2.3."
            )
        found[int(said[1])] = float(said[2].replace(",", "."))
    if any(not -DARKEST_OFF <= off <= LIGHTEST_OFF for off in found.values()):
        raise FormUnfit(
            f"A tile can be up to {DARKEST_OFF:g} L* darker or {LIGHTEST_OFF:g} L* lighter than "
            "the others."
        )
    return tuple(sorted(found.items()))


def shades_text(draft: Draft) -> str:
    """Return the tiles of another white as they are typed."""
    return "\n".join(f"{number}: {off:g}" for number, off in draft.shades)


def _pair(form: Form, pairs: Sequence[Pair]) -> Pair:
    pair = pair_of_key(form.get("pair", ""), pairs)
    if pair is None:
        raise FormUnfit("Choose which laser etches it, and on which tile and paint.")
    return pair


def _require_room(pair: Pair, width_mm: float, height_mm: float) -> None:
    room = (pair.head.travel_x_mm, pair.head.travel_y_mm)
    if width_mm > room[0] or height_mm > room[1]:
        raise FormUnfit(
            f"{pair.key[0]} moves only {room[0]:g} × {room[1]:g} mm. Make the picture smaller."
        )


_HAND: Final = {
    "feed_mm_per_min": ("The speed in mm/min", 1.0, 100_000.0, 1.0),
    "power_percent": ("The power in percent", 0.1, 100.0, 0.01),
    "line_spacing_mm": ("The line spacing in millimetres", 0.01, 2.0, 1.0),
}


def _by_hand(form: Form, pair: Pair) -> Recipe | None:
    """Return settings typed by hand, if any was; then all have to be."""
    if not any(form.get(name, "").strip() for name in _HAND):
        return None
    feed, power, spacing = (
        number(form, name, label, least=least, most=most) * unit
        for name, (label, least, most, unit) in _HAND.items()
    )
    return Recipe(
        surface=pair.surface.name,
        feed_mm_per_min=feed,
        power_ratio=power,
        line_spacing_mm=spacing,
        air_assist=form.get("air_assist") == "yes",
    )


def _by_hand_caution(recipe: Recipe, pair: Pair) -> str:
    """Return what the page says of settings typed by hand."""
    note = pulse_note(pair.head, recipe)
    return " ".join(filter(None, ("These settings were typed by hand.", note)))


def with_cut(draft: Draft, form: Form, size_px: tuple[int, int]) -> Draft:
    """Return `draft` with the part of the photo to use, `size_px` being the turned photo's."""
    left, top, wide = (
        number(form, name, label, least=least, most=100.0) / 100
        for name, label, least in (
            ("left", "How far from the left, in percent,", 0),
            ("top", "How far from the top, in percent,", 0),
            ("wide", "How much of the width, in percent,", LEAST_CUT * 100),
        )
    )
    return replace(draft, crop=fitted_cut(left, top, wide, cut_shape(draft, size_px)))


def cut_shape(draft: Draft, size_px: tuple[int, int]) -> float:
    """Return how high the cut is for its width, both in shares of the turned photo."""
    if draft.picture_mm is None:
        return 1.0
    width_mm, height_mm = draft.picture_mm
    return height_mm / width_mm * size_px[0] / size_px[1]


def fitted_cut(
    left: float, top: float, wide: float, shape: float
) -> tuple[float, float, float, float]:
    """Return the cut, moved and made smaller where it would leave the photo."""
    wide = min(wide, 1.0, 1.0 / shape)
    high = wide * shape
    left, top = min(left, 1 - wide), min(top, 1 - high)
    left, top = max(0.0, left), max(0.0, top)
    return left, top, min(1.0, left + wide), min(1.0, top + high)


def largest_cut(shape: float) -> tuple[float, float, float, float]:
    """Return the middle of the photo in the tile's shape, as large as it goes."""
    wide = min(1.0, 1.0 / shape)
    return fitted_cut((1 - wide) / 2, (1 - wide * shape) / 2, wide, shape)


def with_turn(draft: Draft, quarters: int) -> Draft:
    """Return `draft` turned further by so many quarters clockwise; cut and oval start anew."""
    onwards = -quarters if draft.is_mirrored else quarters  # what is mirrored turns the other way
    return replace(draft, quarters=(draft.quarters + onwards) % 4, crop=None, oval=None)


def mirrored(draft: Draft) -> Draft:
    """Return `draft` with left and right exchanged, and with them its cut and its oval."""
    crop, oval = draft.crop, draft.oval
    return replace(
        draft,
        is_mirrored=not draft.is_mirrored,
        crop=crop and (1 - crop[2], crop[1], 1 - crop[0], crop[3]),
        oval=oval and (1 - oval[0], *oval[1:]),
    )


def with_look(draft: Draft, form: Form, part: Part) -> Draft:
    """Return `draft` with the kind of dots, its tones, and what is retouched in its `part`."""
    halftone, grey_mix = form.get("halftone", ""), form.get("grey_mix", draft.grey_mix)
    if halftone not in EVERY_HALFTONE:
        raise FormUnfit("Choose what it is: a photo, or lettering.")
    if grey_mix not in GREY_MIXES:
        raise FormUnfit("Choose how its colours become grey.")
    tones: dict[str, Any] = {
        name: round(number(form, name, TONE_WORDS[name], least=least, most=FULL_TONE))
        for name, least in (TONES | RETOUCHES).items()
        if name in TONES or name in form
    }
    return replace(
        draft,
        halftone=halftone,
        is_halftone_chosen=True,
        grey_mix=grey_mix,
        oval=_oval(form, part) if "oval_x" in form else draft.oval,
        **tones,
    )


def _oval(form: Form, part: Part) -> tuple[float, float, float, float]:
    """Return the oval of a form, which has it in percent of `part`, in shares of the photo."""
    x, y, wide, high = (
        number(form, name, label, least=least, most=_PERCENT) / _PERCENT
        for name, label, least in OVAL_FIELDS
    )
    left, top, right, bottom = part
    across, down = right - left, bottom - top
    return left + x * across, top + y * down, wide / 2 * across, high / 2 * down


def oval_percent(draft: Draft, part: Part) -> list[tuple[str, str, float, float]]:
    """Return the oval's fields, each with its name, words, least and value in percent of `part`."""
    left, top, right, bottom = part
    x, y, half_width, half_height = draft.oval or (
        left + (right - left) / 2, top + (bottom - top) * 0.4,
        (right - left) * 0.2, (bottom - top) * 0.25,
    )  # fmt: skip
    shares = (
        (x - left) / (right - left), (y - top) / (bottom - top),
        half_width * 2 / (right - left), half_height * 2 / (bottom - top),
    )  # fmt: skip
    return [
        (name, words, least, round(min(max(share * _PERCENT, least), _PERCENT), 1))
        for (name, words, least), share in zip(OVAL_FIELDS, shares, strict=True)
    ]


def with_background_faded(draft: Draft) -> Draft:
    """Return `draft` with its background faded to white as far as its edge asks; then further."""
    return replace(draft, fade=ENOUGH_FADE if draft.fade < ENOUGH_FADE else FULL_TONE)


def as_lettering(draft: Draft) -> Draft:
    """Return `draft` without any greys: each dot is burnt or it is not."""
    return replace(draft, halftone=LETTERING, is_halftone_chosen=True)


def with_more_contrast(draft: Draft) -> Draft:
    """Return `draft` with twice the contrast, as far as its slider goes."""
    return replace(draft, contrast=min(FULL_TONE, draft.contrast + STEPS_TO_DOUBLE))


def as_wall_of_its_own(draft: Draft) -> Draft:
    """Return `draft` for tiles that hang with none that were etched before."""
    return replace(draft, earlier_wall="")


# By the name of what was found: what its button says, and what it does.
MENDS: Final[Mapping[str, tuple[str, Callable[[Draft], Draft]]]] = {
    "dark-background": ("Fade the background to white", with_background_faded),
    "black-and-white-art": ("Etch it as lettering", as_lettering),
    "flat": ("Raise the contrast", with_more_contrast),
    EARLIER_WALL: ("It is a new wall", as_wall_of_its_own),
}


TONE_WORDS: Final[Mapping[str, str]] = {
    "lighter": "Lighter or darker",
    "contrast": "Contrast",
    "local_contrast": "Local contrast",
    "sharpness": "Sharpness",
    "open_shadows": "Open the shadows",
    "face_light": "Lighten the oval",
    "fade": "Fade the background to white",
}


def with_place(draft: Draft, form: Form) -> Draft:
    """Return `draft` with its lower left corner's place from the origin."""
    at_mm = (
        number(form, name, label, least=-_MM_MOST_OFF, most=_MM_MOST_OFF)
        for name, label in (("at_x_mm", "To the right"), ("at_y_mm", "Away from you"))
    )
    at_x_mm, at_y_mm = at_mm
    return replace(draft, at_x_mm=at_x_mm, at_y_mm=at_y_mm)


def for_order(draft: Draft, form: Form) -> Draft:
    """Return the draft as that of an order's item, where the form names one.

    It is called by their numbers: a file's name may be a customer's, and a job's title goes far.
    """
    order, item = (form.get(name, "") for name in ("order", "item"))
    if not all(one.isascii() and one.isdigit() and len(one) < _DIGITS for one in (order, item)):
        return draft
    name = f"order {order}, item {item}"
    return replace(draft, name=name, order=int(order), item=int(item))
