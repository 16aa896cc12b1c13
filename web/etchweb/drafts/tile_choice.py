"""Size, laser, tile and paint of a draft: decided with its photo, or in a step of its own."""

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from werkzeug.datastructures import MultiDict

from etchweb.catalogue.pairs import Pair, ask_pairs, is_proven_with, pair_of_key, preselected
from etchweb.daemon.protocol import Daemon
from etchweb.drafts.draft import Draft
from etchweb.drafts.forms import with_tile
from etchweb.drafts.halftones import TEST_CARD
from etchweb.drafts.made import PhotoFacts
from etchweb.drafts.presenter import tile_size_px
from etchweb.drafts.sizes import SizeMm, chosen_size_mm, size_choices
from etchweb.server.forms import Form, FormUnfit
from etchweb.text.view import View
from etchwire.calls.history import Run, Runs
from etchwire.calls.orders import Order
from etchwire.errors import DaemonAbsent, Refused

_LOOKED_AT: Final = 5  # runs of the pair, for the last that was a picture


def decide_tile(
    draft: Draft, form: Form, pairs: Sequence[Pair], daemon: Daemon, *, shape: float | None = None
) -> Draft:
    """Return `draft` with what its form says of the tile; without a height it has the `shape`.

    Raise FormUnfit, DaemonAbsent or Refused.
    """
    draft = with_tile(draft, form, pairs, shape)
    # Over a wall its search takes long: that is for a person to choose.
    if not draft.is_halftone_chosen and not draft.wall and _is_proven(draft, pairs, daemon):
        draft = replace(draft, halftone=TEST_CARD, is_halftone_chosen=True)
    return draft


def _is_proven(draft: Draft, pairs: Sequence[Pair], daemon: Daemon) -> bool:
    """Whether dots from the test card may be chosen beforehand: where a tile had them and was good.

    A tone card must have told the dot with these settings.
    """
    pair = chosen_pair(draft, pairs)
    has_dot = draft.tone is not None and bool(draft.tone["tone_curve"].get("dot"))
    if pair is None or not has_dot or draft.recipe != pair.job_recipe:
        return False
    return is_proven_with(TEST_CARD, daemon.ask, pair.head.name, pair.surface.name)


def chosen_pair(draft: Draft, pairs: Sequence[Pair]) -> Pair | None:
    """Return the pair that was chosen for `draft`, if it is still there."""
    return next((pair for pair in pairs if pair.key == draft.chosen), None)


def first_choices(daemon: Daemon, pair_key: str) -> View | None:
    """Return what is offered beside the photo: a pair with a recipe, and sizes.

    None where there is none, or nobody to be asked.
    """
    try:
        pairs = [pair for pair in ask_pairs(daemon) if pair.recipe is not None]
        pair = pair_of_key(pair_key, pairs) or preselected(daemon, pairs)
        if pair is None:
            return None
        last_mm = _last_size_mm(daemon, pair)
    except (DaemonAbsent, Refused):
        return None
    return {"key": json.dumps(pair.key), "pair": pair, "sizes": size_choices(last_mm)}


def with_first_choices(draft: Draft, form: Form, facts: PhotoFacts, daemon: Daemon) -> Draft:
    """Return `draft` with what was chosen beside its photo; unchanged where that cannot be."""
    if not form.get("size"):
        return draft
    try:
        pairs = ask_pairs(daemon)
        pair = pair_of_key(form.get("pair", ""), pairs)
        last_mm = None if pair is None else _last_size_mm(daemon, pair)
        size_mm = chosen_size_mm(form["size"], tile_size_px(facts, draft.quarters), last_mm)
        if pair is None or size_mm is None:
            return draft
        asked = MultiDict(
            {"pair": form["pair"], "width_mm": f"{size_mm[0]}", "height_mm": f"{size_mm[1]}"}
        )
        return decide_tile(draft, asked, pairs, daemon)
    except (DaemonAbsent, Refused, FormUnfit):
        return draft


def as_ordered(draft: Draft, daemon: Daemon) -> Draft:
    """Return `draft` with the size that its order says, and a sign with the text that it says.

    It is unchanged where no order says them.
    """
    try:
        items = daemon.ask(Order(id=draft.order or 0)).items
    except (DaemonAbsent, Refused):
        return draft
    for one in items:
        if one.id == draft.item:
            item = one.item
            added = replace(draft.decoration, text=item.text) if draft.is_sign else draft.decoration
            return replace(
                draft, width_mm=item.width_mm, height_mm=item.height_mm, decoration=added
            )
    return draft


def with_common_size(form: Form, photo_px: tuple[int, int]) -> Form:
    """Return `form` with width and height of the common tile it chooses, if it chooses one."""
    size_mm = chosen_size_mm(form.get("size", ""), photo_px, None)
    if size_mm is None:
        return form
    figures = {"width_mm": f"{size_mm[0]:g}", "height_mm": f"{size_mm[1]:g}"}
    return MultiDict({**form.to_dict(), **figures})


def _last_size_mm(daemon: Daemon, pair: Pair) -> SizeMm | None:
    """Return the size of the pair's last whole picture; raise DaemonAbsent or Refused."""
    head, surface = pair.key
    runs = daemon.ask(Runs(limit=_LOOKED_AT, head=head, surface=surface)).runs
    for run in (daemon.ask(Run(id=one.id)) for one in runs if one.ended == "complete"):
        if not run.sheet.get("card"):
            return run.width_mm, run.height_mm
    return None
