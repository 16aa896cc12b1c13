"""What a spacing card led to, as sentences for a person."""

from collections.abc import Iterator

from etchproof.choosing.reserve import RESERVE
from etchproof.choosing.sentences import fingernail_sentences
from etchproof.choosing.spacing_choice import PICTURE_MM, SpacingReading, SpacingSeen
from etchproof.layout.etching import in_words
from etchproof.reading.measuring import UNEVEN_CELL_MM


def spacing_sentences(found: SpacingReading) -> list[str]:
    """Say which spacing closes, what it saves, what a photo cannot show, and what to do next."""
    return list(_sentences(found))


def _sentences(found: SpacingReading) -> Iterator[str]:
    coarsest, coarser, recipe = found.coarsest, found.coarser, found.at_recipe
    yield (
        f"Lines {coarsest.spacing_mm:.3g} mm apart still close: their solid patch has lightness "
        f"{coarsest.lightness:.0f}, as dark as any."
    )
    if coarser is None:
        yield (
            "That is the coarsest spacing of this card, and a coarser one may close too: burn "
            f"another spacing card with a recipe whose lines lie {coarsest.spacing_mm:.3g} mm "
            "apart."
        )
    else:
        yield (
            f"Lines {coarser.spacing_mm:.3g} mm apart no longer do: lightness "
            f"{coarser.lightness:.0f}, with about {coarser.white_left * 100:.0f} % white between "
            "them."
        )
    if coarsest is found.seen[0]:
        yield (
            "It is the finest spacing of this card, so it may not close either: compare it with a "
            "finer card, or burn with more dose."
        )
    if not recipe.has_closed:
        yield f"The recipe's own lines, {recipe.spacing_mm:.3g} mm apart, do not close."
    for one in found.seen:
        if one.has_closed and one.is_left_out:
            where = "" if one.mark else ", as marked on an earlier card"
            yield (
                f"Lines {one.spacing_mm:.3g} mm apart are left out: patch {one.cell} – {one.said}"
                f"{where}."
            )
    yield from _about_best(found)
    yield (
        f"The photo has {found.px_per_mm:.0f} pixels a millimetre and shows no single lines: what "
        "was read is how bright each patch is on the whole, and unevenness wider than "
        f"{UNEVEN_CELL_MM:g} mm."
    )
    yield (
        "Greys depend on the spacing: after a change, burn a tone card. To go faster with more "
        "power, burn a power card before it."
    )


def _about_best(found: SpacingReading) -> Iterator[str]:
    """Say which spacing is recommended, its reserve, and the time that it saves."""
    best, recipe = found.best, found.at_recipe
    if best == recipe:
        yield f"Once a reserve is kept, no spacing is faster than {recipe.spacing_mm:.3g} mm."
        yield from _about_banding(best)
        return
    yield (
        f"Recommended: lines {best.spacing_mm:.3g} mm apart at {best.kept_feed_mm_per_min:.0f} "
        f"mm/min, {RESERVE * 100:.0f} % slower than they were seen to close, as a reserve."
    )
    yield from _about_banding(best)
    yield from fingernail_sentences(best.cell, best.mark)
    if recipe.has_closed:
        saved = 1 - best.photo_s / recipe.photo_s
        yield (
            f"A picture of {PICTURE_MM:.0f} × {PICTURE_MM:.0f} mm, half of it burnt in fine dots, "
            f"takes {in_words(best.photo_s)} that way and {in_words(recipe.photo_s)} at "
            f"{recipe.spacing_mm:.3g} mm: {saved * 100:.0f} % less. Its dots are larger, so it "
            "shows less detail."
        )


def _about_banding(best: SpacingSeen) -> Iterator[str]:
    """Say so, with figures, where lines that count as closed still show a trace of banding."""
    if best.is_paler:
        white = best.white_left * 100
        yield (
            f"A trace of banding is left at {best.spacing_mm:.3g} mm: its solid patch is "
            f"{best.lighter_l:.1f} L* lighter than the darkest, about {white:.1f} % "
            "white between its lines. Look at it in raking light, and take the next finer spacing "
            "if you see lines."
        )
    if best.is_striped:
        yield (
            f"Its solid patch is less even than the calmest one: it scatters by "
            f"{best.unevenness:.1f} L*, {best.more_uneven_l:.1f} more. Stripes in the photo may "
            "come from its own pixels: look at the tile, and take the next finer spacing if they "
            "are there."
        )
