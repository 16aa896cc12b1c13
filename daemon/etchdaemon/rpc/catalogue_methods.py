"""What may be asked and noted about the craft: lasers, surfaces, recipes, cards, verdicts.

Questions are answered by `etchdaemon.logbook.read.queries`, and what is noted goes through
`etchdaemon.logbook.write.catalogue_commands`, each under the same name.
"""

from typing import Any, Final

from etchdaemon.rpc.method import Method, Number, Right, Word

_LIMIT: Final = Number("limit", 500)
_BEFORE: Final = Number("before", None)
_WHO: Final = Word("who", str, otherwise="")
_ANY_PAIR: Final = (Word("head", str, otherwise=""), Word("surface", str, otherwise=""))
_PAIR: Final = (Word("head", str), Word("surface", str))

CRAFT_QUESTIONS: Final = (
    Method("heads", Right.OBSERVE, "Lasers, with their seconds of beam and their lens."),
    Method("surfaces", Right.OBSERVE, "Tiles and paints as they are now."),
    Method(
        "recipes",
        Right.OBSERVE,
        "Recipes, newest first; `is_in_force` marks one a pair.",
        _ANY_PAIR,
    ),
    Method(
        "cards",
        Right.OBSERVE,
        "Cards, newest first, without layouts, and the `next_number`.",
        (*_ANY_PAIR, _BEFORE, _LIMIT),
    ),
    Method("card", Right.OBSERVE, "One card with its layout, packed.", (Number("number"),)),
    Method(
        "readings",
        Right.OBSERVE,
        "What cards showed, newest first, without the patches.",
        (*_ANY_PAIR, Number("card", None), _BEFORE, _LIMIT),
    ),
    Method("reading", Right.OBSERVE, "One reading with its patches, packed.", (Number("id"),)),
    Method(
        "time_line",
        Right.OBSERVE,
        "Cards, readings, recipes, runs, verdicts and wiped lenses of a laser on a surface.",
        (*_PAIR, Word("before", str, otherwise=""), _LIMIT),
    ),
    Method("history", Right.OBSERVE, "The figures that tell whether to test again.", _PAIR),
)

CRAFT_NOTES: Final = (
    Method(
        "save_head",
        Right.OPERATE,
        "Describe a laser, over what stood under its name.",
        (Word("head", dict[str, Any]), Word("notes", str, otherwise=""), _WHO),
    ),
    Method("wipe_lens", Right.OPERATE, "Note a wiped lens.", (Word("head", str), _WHO)),
    Method(
        "save_surface",
        Right.OPERATE,
        "Describe tile and paint, over what stood under that name.",
        (Word("surface", dict[str, Any]), _WHO),
    ),
    Method(
        "save_recipe", Right.OPERATE, "Bring a recipe into force.",
        (Word("recipe", dict[str, Any]), _WHO),
    ),
    Method(
        "retire_recipe",
        Right.OPERATE,
        "Take a recipe out of force; it is kept, and the one before it is in force again.",
        (Number("id"), _WHO),
    ),
    Method(
        "save_card", Right.OPERATE, "File a card under a number of its own.",
        (Word("card", dict[str, Any]), _WHO),
    ),
    Method(
        "save_reading", Right.OPERATE, "File what a card showed.",
        (Word("reading", dict[str, Any]), _WHO),
    ),
    Method(
        "accept_reading",
        Right.OPERATE,
        "Choose after a `reading`: `chosen` holds a `recipe`, which comes into force, or a"
        " `register` for the laser.",
        (Number("reading"), Word("chosen", dict[str, Any]), _WHO),
    ),
    Method(
        "save_verdict",
        Right.OPERATE,
        "Say what the wiped tile of a run looked like.",
        (
            Number("run"), Word("verdict", str), Word("cause", str, otherwise=""),
            Word("note", str, otherwise=""), Word("photo", str, otherwise=""), _WHO,
        ),
    ),
)  # fmt: skip
