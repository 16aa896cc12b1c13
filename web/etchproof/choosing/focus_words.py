"""What a focus card led to, as sentences for a person."""

from typing import Final

from etchproof.model.focus_reading import FACTOR_IN_FOCUS, FocusReading

LEAST_TIMES_AS_WIDE: Final = 1.7  # over the card: with less, threshold and width look alike
FLAT_MM: Final = 0.1  # packing that nobody would bother with


def focus_sentences(found: FocusReading) -> list[str]:
    """Say where the focus is, how deep, how wide the spot is, and what to do next."""
    where = f" at the bed’s {found.bed_place}" if found.bed_place else ""
    sentences = [
        f"A tile is in focus when it stands {found.best_mm:.1f} mm up{where}, give or take "
        f"{found.doubt_mm:.1f} mm (nine times in ten it is within that). {_what_to_do(found)}",
        f"From {found.low_mm:.1f} to {found.high_mm:.1f} mm, {found.high_mm - found.low_mm:.1f} mm "
        f"in all, the spot is no more than {FACTOR_IN_FOCUS:g} times as wide as at its best (what "
        "counts as in focus is our choice).",
    ]
    across, along = found.across, found.along
    if found.is_spot_sure:
        doubt_mm = max(across.spot_doubt_mm, along.spot_doubt_mm)
        sentences.append(
            f"The spot is {across.spot_mm:.2f} mm wide across the rows and {along.spot_mm:.2f} mm "
            f"along them, give or take {max(doubt_mm, 0.005):.2g} mm (nine times in ten it "
            "is within that): use a line spacing not finer than "
            f"{across.spot_mm:.2f} mm. That is its width at half of its peak, with what heat "
            f"adds on this surface; as ISO 11146-1 measures widths it is {across.iso_width_mm:.2f} "
            f"× {along.iso_width_mm:.2f} mm."
        )
    else:
        sentences.append(_why_no_width(found))
    if abs(across.height_mm - along.height_mm) > (found.high_mm - found.low_mm) / 2:
        sentences.append(
            f"Lines along the rows are thinnest at {across.height_mm:.1f} mm and lines across them "
            f"at {along.height_mm:.1f} mm: no height has both sharp, and this one lies between."
        )
    sentences.append(
        "Once the laser is at the right height, find speed and power with a power card."
    )
    return sentences


def _why_no_width(found: FocusReading) -> str:
    if found.burnt_too_far is not None:
        return found.burnt_too_far.sentence
    if found.times_as_wide < LEAST_TIMES_AS_WIDE:
        return (
            "How wide the spot is could not be told: from end to end of the card it changes only "
            f"{found.times_as_wide:.1f} times. Burn another focus card on a wedge twice as high."
        )
    return (
        "How wide the spot is could not be told from these lines: burn another focus card slower, "
        "if its lines were pale, or faster, if they had closed."
    )


def _what_to_do(found: FocusReading) -> str:
    if found.best_mm < FLAT_MM:
        return "Tiles that lie flat are in focus as the laser stands."
    return (
        f"For tiles that lie flat, lower the laser by {found.best_mm:.1f} mm from where it stood, "
        "or pack every tile up by as much."
    )
