"""What can be laid into a jig: pictures whose job is made, and what their customers said."""

from dataclasses import replace

from etchweb.bench.presenter import Ready
from etchweb.context import app_context
from etchweb.drafts.draft import Draft
from etchweb.drafts.made import MadeTile
from etchweb.drafts.store import JOB_FOLDER, SEEN_NAME, tile_seen_name
from etchweb.drafts.views import drafts
from etchwire.calls.orders import ItemEntry, Order, WholeOrder
from etchwire.catalogue.orders import YES
from etchwire.sheet import SHEET_NAME


def accepted_item(draft: Draft, order: WholeOrder | None = None) -> ItemEntry | None:
    """Return the item that a draft is made for, where its customer said yes to it as it is now.

    None for a draft of no order. `order` is the draft's, where it was asked for already.
    """
    if draft.item is None or draft.order is None:
        return None
    order = order or app_context().daemon.ask(Order(id=draft.order))
    item = next((one for one in order.items if one.id == draft.item), None)
    proof = item.proofs[0] if item is not None and item.proofs else None
    if item is None or proof is None or proof.answer != YES or not proof.is_current:
        return None
    return item if item.item.design_sha256 == drafts().design_sha256(draft) else None


def ready_pictures() -> dict[str, tuple[Draft, Ready]]:
    """Return what can be laid: its job is made, and of the draft as it is."""
    found: dict[str, tuple[Draft, Ready]] = {}
    for draft in drafts().all():
        made = drafts().found(draft)
        if made is None or draft.recipe is None:
            continue
        whole = Ready(
            id=draft.id,
            draft=draft.id,
            seen=SEEN_NAME,
            title=draft.title,
            width_mm=made.size_mm[0],
            height_mm=made.size_mm[1],
            predicted_s=made.predicted_s,
            surface=draft.recipe.surface,
            to_read=tuple(one.sentence for one in made.findings if one.must_be_read),
        )
        jobs = drafts().folder_of(draft.id) / JOB_FOLDER
        found |= {
            one.id: (draft, one)
            for one in ([_tile_of(whole, tile) for tile in made.tiles] or [whole])
            if (jobs / one.job / SHEET_NAME).exists()
        }
    return found


def _tile_of(mural: Ready, tile: MadeTile) -> Ready:
    return replace(
        mural,
        id=f"{mural.id}.{tile.number}",
        seen=tile_seen_name(tile.number),
        title=f"{mural.title}, tile {tile.number}",
        predicted_s=tile.predicted_s,
        job=tile.job,
    )
