"""What a person should know of an order before it is etched, and what has to be said yes to."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from etchphoto.decoder.loading import LoadedPhoto
from etchphoto.dots.speeds import Motion
from etchphoto.errors import NeedsAcknowledgement
from etchphoto.findings import PhotoFinding
from etchphoto.framing import Frame
from etchphoto.job.order import FROM_TEST_CARD, LETTERING, PhotoOrder, frame_of, is_below_spot
from etchphoto.light import lightness, luminance_of_lightness
from etchphoto.tone import opened
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.heads import MOST_DOSE_J_PER_MM2, Head, Recipe, is_high_dose

_ROUNDED_MM: Final = 0.005  # a size that differs by less is what was asked for
_TOLD_LIGHTNESS: Final = (20.0, 50.0)  # dark hair, and a middle grey
_WORKED_OUT: Final = (
    "The greys were measured with another halftone; the tone curve for this one is worked out from "
    "the dot that the tone card showed."
)
# The range: L* 50 of a photo, etched by the practice recipes without a curve on the four practice
# surfaces (measured there, and as invented as they are).
GREYS_NOT_MEASURED: Final = (
    "Greys not measured on this tile: on the practice tiles a middle grey came out anywhere from "
    "25 steps of lightness too dark to 16 too light, of 100. Etch a tone card with these settings "
    "first."
)
_ONE_WAY: Final = (
    "Where rows to the right and rows to the left meet was never measured on this laser, so all "
    "rows are etched one way, which takes longer: a register card makes both ways possible."
)
_NOT_MEASURED: Final = (
    "This laser's offset between rows to the right and rows to the left was never measured, so "
    "edges may look frayed: etch a register card first, or etch in one direction only."
)


def require_acknowledged(found: Sequence[PhotoFinding], order: PhotoOrder) -> None:
    """Raise NeedsAcknowledgement where a person has not said yes to one of `found` yet."""
    still_open = [
        finding
        for finding in found
        if finding.needs_acknowledgement and finding.name not in order.acknowledged
    ]
    if still_open:
        raise NeedsAcknowledgement(still_open)


def findings(photo: LoadedPhoto, order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return what the person should know before etching, the gravest first."""
    frame = frame_of(photo, order)
    found = [*cheap_findings(frame, order), *order_findings(order)]
    asked = (order.width_mm, order.height_mm or frame.height_mm)
    made = (frame.width_mm, frame.height_mm)
    if any(abs(ask - size) > _ROUNDED_MM for ask, size in zip(asked, made, strict=True)):
        sentence = (
            f"The picture becomes {made[0]:.2f} × {made[1]:.2f} mm, a whole number of line "
            f"spacings of {frame.line_spacing_mm:g} mm."
        )
        found.append(PhotoFinding("size-rounded", sentence))
    return tuple(found)


def order_findings(order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return what is known of a photo's tone and register before one looks at it."""
    return (*_tone_findings(order), *_shadow_findings(order), *register_findings(order))


def register_findings(order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return what follows from not knowing where rows of both directions meet."""
    if order.head.register.is_measured:
        return ()
    if order.is_both_directions:
        return (PhotoFinding("register-not-measured", _NOT_MEASURED),)
    return (PhotoFinding("one-way", _ONE_WAY),)


def cheap_findings(frame: Frame, order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return those that are known without a look at dots, and all that must be acknowledged."""
    return (*recipe_findings(order.head, order.recipe), *frame.findings)


def _tone_findings(order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return whether greys are left to chance; lettering has none."""
    if order.halftone == LETTERING:
        return ()
    if order.tone is None:
        sentence = f"{GREYS_NOT_MEASURED} {worth_of_card(order.motion)}"
        return (PhotoFinding("greys-not-measured", sentence),)
    if order.halftone == FROM_TEST_CARD and order.dot is not None:
        return (_gain_finding(order.dot, order.motion),)
    if order.tone.is_worked_out(order.recipe, order.halftone):
        return (PhotoFinding("tone-curve-worked-out", _WORKED_OUT),)
    changes = order.tone.changes(order.recipe, order.halftone)
    if not changes:
        return ()
    sentence = (
        f"The greys were measured with another {_listed(changes)}, so their tone curve is left "
        f"out. {GREYS_NOT_MEASURED}"
    )
    return (PhotoFinding("tone-curve-left-out", sentence),)


def worth_of_card(motion: Motion) -> str:
    """Return in a sentence what a tone card would win, where none was read."""
    from etchphoto.dots.gain import foreseen_without_card  # noqa: PLC0415  brings OpenCV

    foreseen = foreseen_without_card(motion)
    return (
        f"Dots worked out from a tone card would be off by about {foreseen.card_error:.1f} steps "
        f"of lightness at arm's length, instead of {foreseen.kernel_error:.0f}."
    )


def suited_halftone(motion: Motion) -> str:
    """Return the kernel that suits the stated spot, where no tone card was read."""
    from etchphoto.dots.gain import foreseen_without_card  # noqa: PLC0415  brings OpenCV

    return foreseen_without_card(motion).kernel


def _shadow_findings(order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return what opening the shadows does, before and after, in L* of the tile."""
    amount = order.adjustments.open_shadows
    if not amount or order.halftone == LETTERING:
        return ()
    photo = luminance_of_lightness(np.array(_TOLD_LIGHTNESS))
    before, after = (
        lightness(order.black + one * (1 - order.black))
        for one in (photo, opened(photo, amount, order.black))
    )
    parts = (
        f"{its:.0f} in the photo becomes {then:.0f} on the tile instead of {now:.0f}"
        for its, now, then in zip(_TOLD_LIGHTNESS, before, after, strict=True)
    )
    sentence = (
        f"The shadows are opened by {amount:g} of 100. In lightness, of 100, "
        f"{', and '.join(parts)}."
    )
    return (PhotoFinding("shadows-opened", sentence),)


def _gain_finding(dot: Dot, motion: Motion) -> PhotoFinding:
    from etchphoto.dots.gain import foreseen_gain  # noqa: PLC0415  brings OpenCV

    gain = foreseen_gain(dot, motion)
    sentence = (
        "The dots are worked out from your test card. For this laser and surface that leaves "
        f"{gain.search_error:.1f} L* of error at arm's length instead of {gain.kernel_error:.1f}, "
        f"or {gain.percent:.0f} % less, by the card's own dot on a small picture; no tile has "
        "shown it yet."
    )
    return PhotoFinding("dots-from-test-card", sentence)


def _listed(words: Sequence[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def recipe_findings(head: Head, recipe: Recipe) -> tuple[PhotoFinding, ...]:
    """Return what of a recipe has to be said yes to, however it was come by."""
    return (*_dose_findings(head, recipe), *_spacing_findings(head, recipe))


def _dose_findings(head: Head, recipe: Recipe) -> tuple[PhotoFinding, ...]:
    """Return whether it gives more dose than any surface needs."""
    dose = recipe.dose_j_per_mm2(head)
    if not is_high_dose(dose):
        return ()
    sentence = (
        f"These settings give {dose:.0f} J/mm², and no surface is known to need more than "
        f"{MOST_DOSE_J_PER_MM2:g}: choose a faster speed or less power, unless so much is meant."
    )
    return (PhotoFinding("high-dose", sentence, needs_acknowledgement=True),)


def _spacing_findings(head: Head, recipe: Recipe) -> tuple[PhotoFinding, ...]:
    """Return whether lines lie closer than the spot that the laser's maker states."""
    if not is_below_spot(head, recipe):
        return ()
    sentence = (
        f"The line spacing of {recipe.line_spacing_mm:.4g} mm is narrower than the spot of "
        f"{head.spot_mm:g} mm that the maker states, so lines may burn into one another: choose "
        f"{head.spot_mm:g} mm or more, or measure the spot."
    )
    return (PhotoFinding("spacing-below-spot", sentence, needs_acknowledgement=True),)
