"""What is kept of an earlier etch: for the same picture again, or another photo like it."""

from dataclasses import replace
from pathlib import Path
from typing import Final

from etchweb.catalogue.pairs import ask_pairs
from etchweb.context import LARGEST_NUMBER, answered, app_context
from etchweb.drafts.draft import Draft
from etchweb.drafts.store import kept_draft
from etchweb.drafts.tile_choice import chosen_pair
from etchweb.server.forms import Form
from etchweb.storage.made_from import made_from
from etchwire.calls.history import Run

CHANGED: Final = "The recipe has changed since: this is etched with the settings of etch {number}."
FIELD: Final = "like_etch"


def kept_of(number: int) -> Path | None:
    """Return the folder of what etch `number` was made from; None where it is no longer kept.

    End the request where the logbook has no such etch.
    """
    return made_from(app_context().pictures.parent, answered(Run(id=number)).gcode_sha256)


def earlier_in(form: Form) -> tuple[int, Draft] | None:
    """Return the etch that a form wants another photo to be like, with what was decided for it."""
    asked = form.get(FIELD, "")
    number = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 16 else 0
    if not 0 < number <= LARGEST_NUMBER:
        return None
    kept = kept_of(number)
    draft = None if kept is None else kept_draft(kept)
    return None if draft is None else (number, draft)


def with_caution(draft: Draft, number: int) -> Draft:
    """Return `draft`, which says so where its recipe is no longer the pair's."""
    pair = chosen_pair(draft, ask_pairs(app_context().daemon))
    if pair is not None and pair.job_recipe == draft.recipe:
        return draft
    return replace(draft, caution=CHANGED.format(number=number))
