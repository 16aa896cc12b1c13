"""The tone cards of the practice recipes: etched, photographed and read anew, into the package.

Run from the folder `tests` as `python -m darkroom.practice_tones`.
"""

import json
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from darkroom.camera import LARGE, photograph
from darkroom.practice import burn_on_surfaces
from etchphoto.job.order import DEFAULT_HALFTONE
from etchpractice.tile.surface import surfaces
from etchproof.layout.border import Place
from etchproof.layout.card_request import CardRequest
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.model.tone_reading import read_dot, read_tone
from etchproof.reading.camera import read_card
from etchwire.catalogue import examples

SURFACE = "white-tile"  # which PRACTICE_SURFACE describes
SHOTS = (
    replace(LARGE, tilt_degrees=12, towards_degrees=20, seed=1),
    replace(LARGE, tilt_degrees=18, towards_degrees=200, turn_degrees=90, light_ratio=1.3, seed=2),
    replace(LARGE, tilt_degrees=8, towards_degrees=110, turn_degrees=180, light_ratio=1.5, seed=3),
)
HOW = (
    "The tone card of each practice recipe, laid out as usual, run on the practice machine on its"
    f" surface {SURFACE}, and that of {examples.DEFAULT_HEAD} on those other surfaces that it does"
    f" not burn too far, wiped, photographed {len(SHOTS)} times by the invented camera of the"
    " tests, and read. Remade by tests/darkroom/practice_tones.py. Machine, surfaces and camera are"
    " invented, and so are these figures."
)


def card_of(name):
    """Lay out the tone card of the practice recipe of this name."""
    wishes = CardRequest(
        number=1,
        head=examples.PRACTICE_HEADS[name],
        surface=examples.PRACTICE_SURFACE,
        place=Place(100.0, 100.0),
        line_spacing_mm=examples.PRACTICE_RECIPES[name].line_spacing_mm,
        halftone=DEFAULT_HALFTONE,
    )
    return lay_out_tone_card(wishes, examples.PRACTICE_RECIPES[name])


def etched_and_read(name, folder, surface_names=(SURFACE,)):
    """Etch, photograph and read a practice recipe's tone card; return the file's entry by surface.

    It is None where the recipe burns too far: what is not black there is no grey.
    """
    card = card_of(name)
    tiles = burn_on_surfaces(card, surface_names, Path(folder) / name)
    return {surface: _entry_read(card, tile) for surface, tile in tiles.items()}


def _entry_read(card, tile):
    reading, _ = read_card([photograph(tile, shot) for shot in SHOTS], [card], is_wiped=True)
    return None if read_tone(card, reading).over_burnt else entry_of(card, reading)


def entry_of(card, reading):
    """Return what the file keeps of a card's reading."""
    tone, dot = read_tone(card, reading), read_dot(card, reading)
    read = {patch.coverage: reading.of(patch.cell, patch.part) for patch in card.patches}
    return {
        "halftone": card.halftone,
        "burnt": list(tone.burnt),
        "reflectance": _rounded(read[share].reflectance for share in tone.burnt),
        "tone_curve": {
            "wanted": _rounded(tone.curve.wanted),
            "to_burn": _rounded(tone.curve.to_burn),
            "dot": {name: round(figure, 6) for name, figure in dot.to_table().items()},
        },
    }


def _rounded(values):
    return [round(value, 6) for value in values]


def surfaces_of(name):
    """Return the names of the surfaces that this recipe's card is etched on, SURFACE first."""
    is_etched_elsewhere = name == examples.DEFAULT_HEAD
    elsewhere = [one for one in surfaces() if one != SURFACE and is_etched_elsewhere]
    return (SURFACE, *elsewhere)


def main():
    """Write the file anew."""
    with TemporaryDirectory() as folder:
        read = {
            name: etched_and_read(name, folder, surfaces_of(name))
            for name in examples.PRACTICE_RECIPES
        }
    entries = {name: entry.pop(SURFACE) for name, entry in read.items()}
    elsewhere = read[examples.DEFAULT_HEAD]
    tones, others = (
        ",\n".join(f'"{name}": {json.dumps(entry)}' for name, entry in some.items() if entry)
        for some in (entries, elsewhere)
    )
    text = f'{{"how": {json.dumps(HOW)},\n"tones": {{\n{tones}\n}},\n'
    text += f'"elsewhere": {{\n{others}\n}}}}\n'
    Path(examples.__file__).with_name(examples.TONES_NAME).write_text(text, "utf-8")


if __name__ == "__main__":
    main()
