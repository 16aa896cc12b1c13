"""`etchwarden order`: orders, how far they are, and a list of new ones."""

import csv
import json
from pathlib import Path
from typing import Any, TextIO

import click

from etchwarden.shared.catalogue_calls import catalogue_calls_at
from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.file_errors import faults_reported
from etchwarden.shared.machine_calls import sentence
from etchweb.orders.costs import BOOK_COLUMNS, book_rows
from etchwire.calls.catalogue import AssignTile
from etchwire.calls.orders import AddOrders, NoteProof, Order, OrderLine, Orders, SaveOrder, Shop
from etchwire.catalogue.order_list import Common, UnfitList, orders_of_list
from etchwire.catalogue.orders import (
    NO,
    SHOWN,
    TRIALS_OF_PLACE,
    YES,
    OrderItem,
    OrderRecord,
    place_warning,
)
from etchwire.errors import UnreadableSheet
from etchwire.packing import pack
from etchwire.sheet import read_sheet
from etchwire.storing import file_sha256

_PLACES = tuple(TRIALS_OF_PLACE)


@click.group()
def command() -> None:
    """Orders: list them, show one, add one, take a list of them."""


@command.command(name="list")
@click.option("--done", "is_done", is_flag=True, help="Those that are done, the latest first.")
@daemon_option()
def list_them(is_done: bool, socket: Path) -> None:
    """Every open order, those due first first."""
    with catalogue_calls_at(socket) as catalogue:
        place: int | None = 0
        while place is not None:
            page = catalogue.daemon.ask(Orders(is_done=is_done, from_place=place))
            for one in page.orders:
                click.echo(_line(one))
            place = page.next_from


@command.command()
@click.argument("number", type=click.IntRange(min=1))
@daemon_option()
def show(number: int, socket: Path) -> None:
    """Order NUMBER with its items, their proofs and their tiles."""
    with catalogue_calls_at(socket) as catalogue:
        order = catalogue.daemon.ask(Order(id=number))
    click.echo(f"Order {number} for {order.customer}, due {order.due_on or '–'}: {order.state}")
    if order.note:
        click.echo(f"  {order.note}")
    for one in order.items:
        item = one.item
        click.echo(
            f"  item {one.id}: {item.count} × {item.title}, {item.width_mm:g} × "
            f"{item.height_mm:g} mm on {item.surface}, for: {item.place}; {one.state}, "
            f"{one.to_make} to make"
        )
        if not one.is_surface_known:
            click.echo("    the logbook no longer knows this tile and paint: choose another")
        if warning := place_warning(item, one.trials):
            click.echo(f"    {warning}")
        if item.text:
            click.echo(f"    text: {item.text!r}")
        for proof in reversed(one.proofs):
            way = f", {proof.way}" if proof.way else ""
            click.echo(f"    {proof.at_utc[:16]} proof: {proof.answer}{way} ({proof.who})")
        for tile in one.tiles:
            click.echo(f"    run {tile.run_id}: {tile.verdict or tile.ended or 'etching'}")


@command.command()
@click.argument("customer")
@click.option("--photo", "title", required=True, help="The photo or design, as you call it.")
@click.option("--size", type=(float, float), metavar="W H", required=True, help="In mm.")
@click.option("--surface", required=True, metavar="TEXT", help="Tile and paint.")
@click.option("--count", default=1, show_default=True, help="How many tiles.")
@click.option("--due", "due_on", default="", metavar="DATE", help="As 2026-12-24.")
@click.option("--place", type=click.Choice(_PLACES), default="wall", help="Where it will live.")
@click.option("--text", default="", help="Names and dates, from the customer's message.")
@click.option("--price", default=0.0, help="For one tile.")
@click.option("--set", "is_set", is_flag=True, help="A matching set: all from one painting lot.")
@click.option("--note", default="", help="What was agreed.")
@daemon_option()
def add(
    customer: str, due_on: str, note: str, size: tuple[float, float], socket: Path, **item: Any
) -> None:
    """Write down an order of CUSTOMER with one item."""
    try:
        one = OrderItem(width_mm=size[0], height_mm=size[1], **item)
        order = OrderRecord(customer=customer, due_on=due_on, note=note, items=[one.to_table()])
    except UnreadableSheet as unfit:
        raise click.ClickException(sentence(unfit)) from unfit
    with catalogue_calls_at(socket) as catalogue:
        number = catalogue.daemon.ask(SaveOrder(order=order, who=catalogue.who)).id or 0
        (entry,) = catalogue.daemon.ask(Order(id=number)).items
    click.echo(f"Order {number}, item {entry.id}.")
    if warning := place_warning(one, entry.trials):
        click.echo(f"Note: {warning}", err=True)


@command.command(name="import")
@click.argument("list_file", metavar="LIST", type=click.Path(path_type=Path))
@click.option("--photos", type=click.Path(path_type=Path), help="Their folder; that of the LIST.")
@click.option("--surface", required=True, metavar="TEXT", help="Tile and paint of all of them.")
@click.option("--due", "due_on", default="", metavar="DATE", help="As 2026-12-24.")
@click.option("--place", type=click.Choice(_PLACES), default="wall", help="Where they will live.")
@daemon_option()
def import_list(
    list_file: Path, photos: Path | None, surface: str, due_on: str, place: str, socket: Path
) -> None:
    """Take the orders of LIST, a CSV file with the columns name, file, size (mm) and count.

    All are taken or none; what is wrong is said line by line.
    """
    folder = photos or list_file.parent
    common = Common(surface=surface, due_on=due_on, place=place)
    try:
        with list_file.open("rb") as file:
            data = file.read()
        orders = orders_of_list(data, common, lambda name: file_sha256(folder / name))
    except OSError as error:
        raise click.ClickException(f"{list_file}: {error.strerror}.") from error
    except UnfitList as unfit:
        faults_text = "\n".join(f"  {fault}" for fault in unfit.faults)
        raise click.ClickException(f"{list_file}: nothing was imported.\n{faults_text}") from unfit
    tables = [order.to_table() for order in orders]
    with catalogue_calls_at(socket) as catalogue:
        catalogue.daemon.ask(AddOrders(orders_packed=pack(json.dumps(tables)), who=catalogue.who))
    click.echo("1 order was taken." if len(orders) == 1 else f"{len(orders)} orders were taken.")


@command.command()
@click.argument("item", type=click.IntRange(min=1))
@click.argument("answer", type=click.Choice((SHOWN, YES, NO)))
@click.option("--order", "number", type=click.IntRange(min=1), required=True, help="Its order.")
@click.option("--way", default="", help="How the answer came.")
@daemon_option()
def proof(item: int, answer: str, number: int, way: str, socket: Path) -> None:
    """Note that the proof of ITEM was shown to the customer, or was answered yes or no.

    A yes is to the item as `order show` tells it now; another picture, text or size withdraws it.
    """
    with catalogue_calls_at(socket) as catalogue:
        items = {one.id: one for one in catalogue.daemon.ask(Order(id=number)).items}
        if item not in items:
            raise click.ClickException(f"Order {number} has no item {item}.")
        shown = items[item].fingerprint
        catalogue.daemon.ask(
            NoteProof(item=item, answer=answer, shown_sha256=shown, way=way, who=catalogue.who)
        )
    click.echo(f"Order {number}, item {item}: {answer}.")


@command.command()
@click.argument("item", type=click.IntRange(min=1))
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--lot", default="", metavar="NAME", help="The painting lot of its tile.")
@daemon_option()
def assign(item: int, job: Path, lot: str, socket: Path) -> None:
    """Say that the JOB is etched for ITEM next; its customer must have said yes to the proof."""
    with faults_reported(job, UnreadableSheet):
        gcode_sha256 = read_sheet(job).gcode_sha256
    with catalogue_calls_at(socket) as catalogue:
        catalogue.daemon.ask(
            AssignTile(item=item, gcode_sha256=gcode_sha256, lot=lot, who=catalogue.who)
        )
    click.echo(f"{job}: the next etch of it is for item {item}.")


@command.command()
@click.argument("table", type=click.File("w", encoding="utf-8", lazy=False))
@daemon_option()
def costs(table: TextIO, socket: Path) -> None:
    """Write what every order that is done cost into TABLE, a CSV file for the books; - prints it.

    What a tile costs is entered on the page *Orders*, once.
    """
    with catalogue_calls_at(socket) as catalogue:
        figures = catalogue.daemon.ask(Shop()).figures
        sheet = csv.writer(table)
        sheet.writerow(BOOK_COLUMNS)
        place: int | None = 0
        while place is not None:
            page = catalogue.daemon.ask(Orders(is_done=True, from_place=place))
            for one in page.orders:
                sheet.writerows(book_rows(catalogue.daemon.ask(Order(id=one.id)), figures))
            place = page.next_from


def _line(one: OrderLine) -> str:
    return (
        f"{one.id}  due {one.due_on or '–':<10}  {one.state:<12} {one.good} of {one.tiles} good, "
        f"{one.to_make} to make  {one.customer}"
    )
