"""What may be noted of the catalogue: each call becomes an entry."""

from collections.abc import Callable, Mapping
from functools import cache, partial
from importlib.metadata import version
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.write.card_entries import (
    accept_reading,
    save_card,
    save_reading,
    save_verdict,
)
from etchdaemon.logbook.write.catalogue_entries import (
    change_filter,
    introduce_practice,
    retire_recipe,
    save_head,
    save_recipe,
    save_surface,
    wipe_lens,
)
from etchdaemon.logbook.write.entries import LogbookEntry
from etchdaemon.logbook.write.insert_statements import Stamp
from etchdaemon.logbook.write.lot_entries import assign_tile, save_jig, save_lot
from etchdaemon.logbook.write.order_entries import (
    add_orders,
    forget_order,
    note_proof,
    save_order,
    save_shop,
)
from etchwire.calls.call import AnyCall
from etchwire.calls.catalogue import (
    AcceptReading,
    AssignTile,
    ChangeFilter,
    Note,
    RetireRecipe,
    SaveCard,
    SaveHead,
    SaveJig,
    SaveLot,
    SaveReading,
    SaveRecipe,
    SaveSurface,
    SaveVerdict,
    WipeLens,
)
from etchwire.calls.orders import AddOrders, ForgetOrder, NoteProof, SaveOrder, SaveShop
from etchwire.catalogue.heads import MeasuredSpot, Register
from etchwire.catalogue.orders import PROOF_ANSWERS, orders_in
from etchwire.catalogue.records import (
    TEXT_LIMIT,
    RecipeRecord,
    VerdictRecord,
    require_name,
    require_one_of,
    require_short,
)
from etchwire.errors import MalformedMessage, UnreadableSheet
from etchwire.packing import unpack

NAMELESS: Final = "somebody"


def _save_head(call: SaveHead, stamp: Stamp) -> LogbookEntry:
    require_name("laser", call.head.name)
    require_short("the laser's notes", call.notes, TEXT_LIMIT)
    return partial(save_head, head=call.head, notes=call.notes, stamp=stamp)


def _accept_reading(call: AcceptReading, stamp: Stamp) -> LogbookEntry:
    """Choose: a `recipe`, without head, surface and origin, a `register` or a `spot`."""
    chosen = call.chosen
    if len(chosen) != 1 or not chosen.keys() <= {"recipe", "register", "spot"}:
        raise UnreadableSheet("what is chosen is a recipe, a register or a spot")
    ((kind, table),) = chosen.items()
    if not isinstance(table, Mapping):
        raise UnreadableSheet(f"a {kind} must be a table, not {table!r:.40}")
    accepted = partial(accept_reading, reading=call.reading, chosen=chosen, stamp=stamp)
    if kind == "register":
        register = Register.from_table({**table, "is_measured": True})
        return partial(accepted, head_changes={kind: register.to_table()})
    if kind == "spot":
        spot = MeasuredSpot.from_table(table)
        changes = {
            "spot_x_mm": spot.spot_x_mm,
            "spot_y_mm": spot.spot_y_mm,
            "is_spot_measured": True,
        }
        return partial(accepted, head_changes=changes)
    belongs = {"head": "", "surface": "", "origin": "reading", "reading": call.reading}
    return partial(accepted, recipe=RecipeRecord.from_table({**table, **belongs}))


def _save_verdict(call: SaveVerdict, stamp: Stamp) -> LogbookEntry:
    verdict = VerdictRecord(
        run=call.run,
        verdict=call.verdict,
        cause=call.cause,
        note=call.note,
        photo=call.photo,
        pocket=call.pocket,
    )
    return partial(save_verdict, verdict=verdict, stamp=stamp)


def _note_proof(call: NoteProof, stamp: Stamp) -> LogbookEntry:
    require_one_of("the answer to a proof", call.answer, PROOF_ANSWERS)
    require_short("how it came", call.way, TEXT_LIMIT)
    return partial(note_proof, call=call, stamp=stamp)


_ENTRIES: Final[Mapping[type[AnyCall], Callable[..., LogbookEntry]]] = {
    SaveHead: _save_head,
    WipeLens: lambda call, stamp: partial(wipe_lens, head=call.head, stamp=stamp),
    ChangeFilter: lambda _call, stamp: partial(change_filter, stamp=stamp),
    SaveSurface: lambda call, stamp: partial(save_surface, surface=call.surface, stamp=stamp),
    SaveLot: lambda call, stamp: partial(save_lot, lot=call.lot, stamp=stamp),
    SaveJig: lambda call, stamp: partial(save_jig, jig=call.jig, stamp=stamp),
    AssignTile: lambda call, stamp: partial(assign_tile, call=call, stamp=stamp),
    SaveOrder: lambda call, stamp: partial(save_order, call=call, stamp=stamp),
    AddOrders: lambda call, stamp: partial(
        add_orders, orders=orders_in(unpack(call.orders_packed)), stamp=stamp
    ),
    NoteProof: _note_proof,
    ForgetOrder: lambda call, stamp: partial(forget_order, order=call.id, stamp=stamp),
    SaveShop: lambda call, stamp: partial(save_shop, figures=call.figures, stamp=stamp),
    SaveRecipe: lambda call, stamp: partial(save_recipe, recipe=call.recipe, stamp=stamp),
    RetireRecipe: lambda call, stamp: partial(retire_recipe, recipe=call.id, stamp=stamp),
    SaveCard: lambda call, stamp: partial(save_card, card=call.card, stamp=stamp),
    SaveReading: lambda call, stamp: partial(save_reading, reading=call.reading, stamp=stamp),
    AcceptReading: _accept_reading,
    SaveVerdict: _save_verdict,
}


def entry_of(call: Note, *, at_utc: str) -> LogbookEntry:
    """Return the entry that a note of the catalogue makes; raise CommandRefused."""
    try:
        who = call.who.strip()
        require_short("who does it", who, TEXT_LIMIT)
        return _ENTRIES[type(call)](call, Stamp(who or NAMELESS, at_utc, software()))
    except (UnreadableSheet, MalformedMessage) as error:
        raise CommandRefused(f"{str(error)[:1].upper()}{str(error)[1:]}.") from error


def practice_catalogue(*, at_utc: str) -> LogbookEntry:
    """Return what a practice session begins with: invented lasers, surfaces and recipes."""
    return partial(introduce_practice, stamp=Stamp("practice", at_utc, software()))


@cache
def software() -> str:
    """Return the version of this program."""
    return version("etchwarden")
