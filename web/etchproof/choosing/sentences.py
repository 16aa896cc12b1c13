"""What a power card led to, as sentences for a person."""

from collections.abc import Iterator
from typing import Final

from etchproof.card import Card
from etchproof.choosing.judging import BLACK_L, Cell
from etchproof.choosing.reserve import BlackBegins, KeptReserve
from etchproof.layout.ranges import Range
from etchproof.reading.hand_marks import Mark
from etchwire.catalogue.heads import MOST_DOSE_J_PER_MM2, Recipe
from etchwire.catalogue.power_pulses import pulse_note

DOTS_KEPT: Final = 0.4  # of an area half burnt: less, and light greys have no dots (our choice)

MUCH_PALER_L: Final = 6.0  # than a power card of the same pair: more than readings scatter (ours)

WAS_IT_WIPED: Final = (
    "Was it wiped? Loose paint on black looks as pale, and an even coat shows no soot to tell it "
    "by: if a wet cloth takes any off, wipe it and take the picture again."
)

GREYS_ANEW: Final = "Greys were measured at the old speed: etch a tone card before a photo counts."

LOOK_BETWEEN: Final = (
    "What holds is damaged, and what is undamaged rubs off: the next card looks between them, in "
    "finer steps."
)


def recommendation(best: Cell, feed_mm_per_min: float, power_ratio: float) -> str:
    """Name the patch and the settings to use."""
    dark = "by hand" if best.lightness is None else f"lightness {best.lightness:.0f}"
    text = (
        f"Patch {best.name}: {feed_mm_per_min:.0f} mm/min with {power_ratio * 100:.3g} % power "
        f"({dark})."
    )
    if best.is_really_run:
        return text
    return (
        f"{text} It was asked to run at {best.feed_mm_per_min:.0f} mm/min with "
        f"{best.power_ratio * 100:.3g} %, which fine detail does not reach; this is what it ran."
    )


def about_reserve(best: Cell, begins: BlackBegins, reserve: KeptReserve) -> str:
    """Say where black begins, how sure that is, and how much more dose the recipe keeps."""
    power = f"{best.power_ratio * 100:.3g} % power"
    if begins.seen_to_mm_per_min is not None:
        begin = (
            f"With {power} black holds as far as {begins.seen_to_mm_per_min:.0f} mm/min by eye, "
            "and the next patch is too light"
        )
        share = f"{reserve.share * 100:.0f} %"
    elif begins.doubt_mm_per_min is None:
        begin = (
            f"No faster patch with {power} is too light: black begins at "
            f"{begins.feed_mm_per_min:.0f} mm/min or faster"
        )
        share = f"at least {reserve.share * 100:.0f} %"
    else:
        begin = (
            f"With {power} black begins at {begins.feed_mm_per_min:.0f} mm/min, give or take "
            f"{begins.doubt_mm_per_min:.0f} (nine times in ten it is within that)"
        )
        share = f"{reserve.share * 100:.0f} %"
    if reserve.reached is None:
        return f"{begin}, and the recipe keeps {share} more dose than that as a reserve " + (
            "(measured on a tile by equal patches)."
            if reserve.is_measured
            else "(how much is our choice, not measured)."
        )
    return (
        f"{begin}. A whole reserve would reach patch {reserve.reached.name}, whose glaze is "
        f"damaged: the recipe keeps only {share} more dose. A thicker coat may rub off."
    )


def about_paleness(darkest: float | None) -> Iterator[str]:
    """Say so where the surface gets no darker than that."""
    if darkest is not None:
        yield (
            f"This paint gets no darker than L* {darkest:.0f} here, and more dose does not change "
            "that: another paint or a thicker coat may. This is the fastest patch that is as dark. "
            f"{WAS_IT_WIPED}"
        )


def about_wiping(darkest: float | None, known: float | None = None) -> Iterator[str]:
    """Ask whether a card without black was wiped: even paint shows by nothing else.

    `known` is the darkest that a power card of the same laser and surface had, None without one.
    """
    if darkest is None:
        return
    if darkest > BLACK_L:
        yield f"The darkest patch has lightness {darkest:.0f}, which is no black. {WAS_IT_WIPED}"
    elif known is not None and darkest > known + MUCH_PALER_L:
        yield (
            f"The darkest patch has lightness {darkest:.0f}, and a power card of this laser, tile "
            f"and paint had {known:.0f}. {WAS_IT_WIPED} If it was, look at lens and focus."
        )


def about_fingernail(best: Cell) -> Iterator[str]:
    """Ask whether the patch holds, or say that nobody could tell."""
    yield from fingernail_sentences(best.name, best.mark)


def fingernail_sentences(patch: str, mark: Mark | None) -> Iterator[str]:
    """Ask whether a patch with that mark holds, or say that nobody could tell."""
    if mark is None:
        yield (
            f"Before you take it: does patch {patch} hold under a fingernail? Mark it “good” "
            "if it does and “rubs off” if it does not."
        )
    if mark is Mark.COULD_NOT_TELL:
        yield (
            f"Nobody could tell whether patch {patch} holds under a fingernail: try it on the "
            "first tile before you etch many."
        )


def about_pulses(card: Card, feed_mm_per_min: float, power_ratio: float) -> Iterator[str]:
    """Say so where the controller's pulses of light are about as long as a dot."""
    recipe = Recipe(
        surface="",
        feed_mm_per_min=feed_mm_per_min,
        power_ratio=power_ratio,
        line_spacing_mm=card.spacing_mm,
    )
    note = pulse_note(card.head, recipe)
    if note is not None:
        yield note


def about_dots(best: Cell) -> Iterator[str]:
    """Say so when single dots hardly mark where solid areas do."""
    if best.halftone_coverage is not None and best.halftone_coverage < DOTS_KEPT:
        yield (
            f"Fine detail that is half burnt looks only {best.halftone_coverage * 100:.0f} % burnt "
            "there: etch a tone card, or go slower to keep more of the light greys."
        )


def burn_weaker(weaker: Range) -> str:
    """Ask for a card with less power."""
    return (
        "Every patch that is dark enough is blotchy or has damaged the glaze: burn the next card "
        f"with less power, up to {weaker.high_power_ratio * 100:.0f} %."
    )


def burn_stronger(stronger: Range, *, is_at_full_power: bool) -> str:
    """Ask for a card with more power, or with less speed where there is no more."""
    speeds = f"{stronger.low_feed_mm_per_min:.0f} to {stronger.high_feed_mm_per_min:.0f} mm/min"
    if is_at_full_power:
        return (
            "No patch is dark enough and holds, even at full power: the next card is slower, "
            f"{speeds}."
        )
    return (
        "No patch is dark enough and holds. Raise the power before slowing down: the next card "
        f"goes from {stronger.low_power_ratio * 100:.0f} to 100 % at {speeds}."
    )


def burn_no_more(most_j_per_mm2: float) -> str:
    """Say why no card with more dose is proposed."""
    if most_j_per_mm2 < MOST_DOSE_J_PER_MM2:
        return (
            f"No patch is dark enough and holds, and {most_j_per_mm2:.2g} J/mm² has burnt a patch "
            "too far already, so no card with more is proposed: look at focus and lens, then burn "
            "this card again."
        )
    return (
        f"This laser does not mark this surface dark enough with {most_j_per_mm2:.0f} J/mm², more "
        "than any surface is known to need: look at focus and lens, or try another paint or a "
        "thicker coat."
    )
