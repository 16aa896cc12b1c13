"""Reading by camera: from photos of a card to what it showed.

A photo that cannot be read truthfully is refused with the reason and what to do about it; a
patch spoilt in one photo is taken from another.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

import numpy as np

from etchphoto.light import lightness
from etchproof.card import REGISTER, Card
from etchproof.errors import PhotoRefused
from etchproof.layout.markers import CARD_NUMBERS
from etchproof.reading.bare_light import BareLight
from etchproof.reading.brown_haze import is_brown
from etchproof.reading.detection import OUT_OF_FOCUS, Found, find_markers
from etchproof.reading.disturbed_light import Disturbance, is_sooted
from etchproof.reading.hairline_shift import measure_hairlines
from etchproof.reading.measuring import (
    GLARE_FAULT,
    SHADOW_FAULT,
    WHITE_FAULT,
    WHITE_LIGHT,
    Measured,
    measure_patches,
)
from etchproof.reading.missing_marker import completed
from etchproof.reading.photograph import Photograph, load_photograph
from etchproof.reading.rectification import Rectified, rectify
from etchproof.reading.sharpness import blur_mm
from etchproof.reading.values import HairlineShift, PatchReading, PhotoRead, Reading

MOST_BLUR_MM: Final = 0.3  # softer, and what lies beside a patch reaches its core
DARKEST_BARE_LIGHT: Final = 0.05  # code 63: then a dark patch is lost in noise
MOST_RESIDUAL_MM: Final = 0.25  # markers of a flat card fit to a few hundredths
NOT_WIPED_FAULT: Final = "not-wiped"
SOOTED_SENTENCE: Final = (
    "the bare tile is darker around what was burnt, as where soot or loose paint was not wiped "
    "off: let the card cool, wipe it until a white cloth stays white, and take the picture again"
)
BROWN_SENTENCE: Final = (
    "what is dark on the card is brown, as paint that was scorched and not wiped off: let the card "
    "cool, wipe it until a white cloth stays white, and take the picture again"
)
OVEREXPOSED_SHARE: Final = 0.25  # of the bare tile; less may be glare, which spoils patches only


@dataclass(frozen=True, slots=True)
class SeenCard:
    """A card found in a photo and seen from above, before anything on it is measured."""

    photo: Photograph
    found: Found
    card: Card
    seen: Rectified


@dataclass(frozen=True, slots=True)
class OneReading:
    """What one photo gave."""

    at: SeenCard
    read: PhotoRead
    patches: Mapping[tuple[str, str], Measured]
    hairlines: tuple[HairlineShift, ...]


def read_card(
    photos: Sequence[Path | IO[bytes]],
    cards: Iterable[Card],
    *,
    is_wiped: bool,
    names: Sequence[str] | None = None,
) -> tuple[Reading, tuple[OneReading, ...]]:
    """Read one card from its photos; `cards` are those that were etched and may be in them.

    Returns the reading, and each photo's own for the overlay. `is_wiped` is the person's word
    that the card has cooled and was wiped: paint and soot look like a dark patch. `names` is what
    people call the photos, as many; by default their files' names. Raise PhotoRefused with the
    reason and the remedy.
    """
    if not is_wiped:
        raise PhotoRefused(
            NOT_WIPED_FAULT,
            "let the card cool, take it out and wipe it first: loose paint and soot look darker "
            "than what is fired in",
        )
    known = tuple(cards)
    called: Sequence[str | None] = names or [None] * len(photos)
    named = zip(photos, called, strict=True)
    seen = [read_photo(see_card(load_photograph(one, name=name), known)) for one, name in named]
    if not seen:
        raise PhotoRefused("no-photo", "name at least one photo of the card")
    return combine(seen), tuple(seen)


def see_card(photo: Photograph, known: Sequence[Card]) -> SeenCard:
    """Find the card in a photo, know it, and see it from above."""
    found = find_markers(photo.codes, among={card.number % CARD_NUMBERS for card in known})
    card = which_card(found, known)
    found = completed(found, photo.codes, card)
    return SeenCard(photo, found, card, rectify(photo.light, found, card))


def which_card(found: Found, known: Sequence[Card]) -> Card:
    """Return the card whose number the markers carry; raise PhotoRefused where that is unclear."""
    same = [card for card in known if card.number % CARD_NUMBERS == found.number]
    if len(same) == 1:
        return same[0]
    if same:
        raise PhotoRefused(
            "same-number",
            f"{len(same)} cards carry the number {same[0].number}: say which of them this is",
        )
    others = ", ".join(str(card.number) for card in known) or "none"
    raise PhotoRefused(
        "unknown-card",
        f"the picture shows card {found.number}, but the cards etched here for this laser, tile "
        f"and paint are: {others}. Choose the right card, or photograph the right tile",
    )


def read_photo(at: SeenCard) -> OneReading:
    """Measure everything on a card that was seen; raise PhotoRefused for a photo not fit for it."""
    bare = BareLight.of_card(at.seen, at.card)
    blur = blur_mm(at.seen, at.card)
    _require_readable(bare, blur, at.seen.residual_mm)
    read = PhotoRead(
        name=at.photo.name,
        sha256=at.photo.sha256,
        px_per_mm=at.seen.px_per_mm,
        blur_mm=blur,
        light_ratio=bare.ratio,
    )
    hairlines = measure_hairlines(at.seen, bare, at.card) if at.card.kind == REGISTER else ()
    if is_sooted(bare, at.card):
        raise PhotoRefused(NOT_WIPED_FAULT, SOOTED_SENTENCE)
    if is_brown(at.photo.colour, at.seen.mm_to_photo, at.card):
        raise PhotoRefused(NOT_WIPED_FAULT, BROWN_SENTENCE)
    return OneReading(at, read, measure_patches(at.seen, bare, at.card), hairlines)


def _require_readable(bare: BareLight, blur: float, residual_mm: float) -> None:
    light = np.exp(bare.log_light)
    if float((light > WHITE_LIGHT).mean()) > OVEREXPOSED_SHARE:
        raise PhotoRefused(
            WHITE_FAULT, f"the bare tile is so bright in the picture that {_CUT_OFF}"
        )
    if float(np.median(light)) < DARKEST_BARE_LIGHT:
        raise PhotoRefused(
            SHADOW_FAULT,
            "the picture is too dark for dark patches to be told apart: take it in more light, "
            "for instance beside a window",
        )
    if blur > MOST_BLUR_MM:
        raise PhotoRefused("out-of-focus", OUT_OF_FOCUS)
    if residual_mm > math.hypot(MOST_RESIDUAL_MM, blur):  # a blur draws every corner in by as much
        raise PhotoRefused(
            "bent",
            f"the markers lie {residual_mm:.2f} mm off where a flat card has them: photograph it "
            "from above and a little further away, with twice the zoom",
        )


_CUT_OFF: Final = (
    "its light was cut off: tap on the tile, slide the brightness down a little, and take it again"
)
_OR_A_FILM: Final = (
    "If nothing shades it, a film of soot was left: wipe it until a white cloth stays white"
)
_FAULTS: Final = {
    GLARE_FAULT: "glare lies over {}: turn the card or move the lamp until it is gone, and take "
    "the picture again, or add a second one with the glare elsewhere",
    Disturbance.HARD_SHADOW: "a hard shadow crosses {}: take away what throws it, such as a hand, "
    "the phone or the edge of a frame, or turn the card to the light, and take the picture again. "
    + _OR_A_FILM,
    Disturbance.SOFT_SHADOW: "a soft shadow lies over {}, so the light changes too fast to be put "
    "right: move the card away from what shades it, to where the light is even, and take the "
    "picture again. " + _OR_A_FILM,
    WHITE_FAULT: "around {} the bare tile is so bright that " + _CUT_OFF,
    SHADOW_FAULT: "{} are black in the picture, with nothing left to tell them apart: take it in "
    "more light, for instance beside a window",
}


def combine(readings: Sequence[OneReading]) -> Reading:
    """Return what several photos of one card show together: the mean of those not spoilt."""
    card = readings[0].at.card
    if any(reading.at.card != card for reading in readings):
        raise PhotoRefused(
            "two-cards", "the photos show different cards: read the photos of one card at a time"
        )
    patches, spoilt = [], {}
    for cell, part in readings[0].patches:
        measured = [reading.patches[cell, part] for reading in readings]
        sound = [one for one in measured if one.fault is None]
        if sound:
            patches.append(_joined(cell, part, sound))
        else:
            spoilt[cell] = measured[0].fault or GLARE_FAULT
    _require_sound(spoilt)
    return Reading(
        card_number=card.number,
        kind=card.kind,
        photos=tuple(reading.read for reading in readings),
        patches=tuple(patches),
        hairlines=tuple(shift for reading in readings for shift in reading.hairlines),
    )


def _require_sound(spoilt: Mapping[str, str]) -> None:
    for fault, sentence in _FAULTS.items():
        cells = [cell for cell, its_fault in spoilt.items() if its_fault == fault]
        if cells:
            noun = "patch" if len(cells) == 1 else "the patches"
            raise PhotoRefused(fault, sentence.format(f"{noun} {', '.join(cells)}"))


def _joined(cell: str, part: str, measured: Sequence[Measured]) -> PatchReading:
    reflectance = float(np.mean([one.reflectance for one in measured]))
    spread = None
    if len(measured) > 1:
        spread = float(np.std([one.lightness for one in measured], ddof=1))
    return PatchReading(
        cell=cell,
        part=part,
        reflectance=reflectance,
        lightness=float(lightness(np.array(max(0.0, reflectance)))),
        unevenness=float(np.median([one.unevenness for one in measured])),
        photos=len(measured),
        spread=spread,
    )
