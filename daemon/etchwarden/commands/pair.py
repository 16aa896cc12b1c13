"""`etchwarden pair`: let a phone in, list those that are in, shut one out."""

import sys
import time
from pathlib import Path

import click

from etchweb.auth.codes import CODE_LASTS_S, new_code
from etchweb.auth.roles import Role
from etchweb.auth.square import square_text
from etchweb.auth.store import FILE_NAME, Phone, Store
from etchweb.server.host_names import addresses, is_loopback
from etchweb.server.page_database import StoreUnusable


@click.command()
@click.option(
    "--folder",
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("/var/lib/etchwarden-web"),
    show_default=True,
    help="The page's folder, as given to `etchwarden page`.",
)
@click.option(
    "--role",
    type=click.Choice([role.value for role in Role]),
    default=Role.OPERATE.value,
    show_default=True,
    help="watch: see, hold and stop. operate: everything.",
)
@click.option("--list", "is_list", is_flag=True, help="List the phones that are paired.")
@click.option("--forget", metavar="NUMBER", type=int, help="Remove the phone of this number.")
def command(folder: Path, role: str, is_list: bool, forget: int | None) -> None:
    """Let a phone in: print six digits for it to type, and the address of the page.

    The digits serve one phone, for ten minutes. The square holds the address only.
    """
    try:
        store = _store(folder)
        if forget is not None:
            _forget(store, forget)
        elif is_list:
            _list(store)
        else:
            _pair(store, Role(role))
    except StoreUnusable as error:
        raise click.ClickException(str(error)) from error


def _store(folder: Path) -> Store:
    if not (folder / FILE_NAME).exists():
        raise click.ClickException(
            f"No page has been served from {folder} yet. Start it first: "
            f"etchwarden page --folder {folder} --daemon SOCKET"
        )
    return Store(folder)


def _pair(store: Store, role: Role) -> None:
    served = store.served()
    if served is None:
        raise click.ClickException("The page has not been served yet. Start it first.")
    host, port = served
    places = [f"{address}pair" for address in addresses(host, port)]
    code = new_code()
    store.add_code(code, role, time.time())
    if sys.stdout.isatty():
        click.echo(square_text(places[0]), nl=False)
    click.echo(f"Open   {'  or  '.join(places)}")
    click.echo(f"Type   {code[:3]} {code[3:]}")
    click.echo(f"It lets one phone {role}, and lasts {CODE_LASTS_S / 60:.0f} minutes.")
    if is_loopback(host):
        click.echo(
            "Only browsers on this machine reach that address. For phones, start the page "
            "with --host 0.0.0.0."
        )


def _list(store: Store) -> None:
    phones = store.phones()
    for phone in phones:
        click.echo(_line(phone))
    if not phones:
        click.echo("No phone is paired.")


def _line(phone: Phone) -> str:
    seen = time.strftime("%Y-%m-%d %H:%M", time.localtime(phone.seen_at_s))
    by = "" if phone.by is None else f"  (let in by {phone.by})"
    return f"{phone.id:4}  {phone.role:8} seen {seen}  {phone.name}{by}"


def _forget(store: Store, number: int) -> None:
    if not store.forget_phone(number):
        raise click.ClickException(f"No phone has the number {number}. See --list.")
    click.echo(f"Phone {number} is shut out.")
