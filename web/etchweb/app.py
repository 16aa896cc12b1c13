"""The page as one WSGI application: who it asks, where its files lie, which subjects it has."""

import hashlib
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Final

from flask import Flask

from etchweb.auth import access, pairing
from etchweb.auth.access import Access
from etchweb.bench import views as bench
from etchweb.cards import routes as cards
from etchweb.catalogue import views as catalogue
from etchweb.context import AppContext, Machine
from etchweb.daemon.listener import Listener
from etchweb.daemon.protocol import Daemon
from etchweb.designs import routes as designs
from etchweb.drafts import routes as drafts
from etchweb.fleet import view as fleet
from etchweb.logbook import routes as logbook
from etchweb.machine import routes as machine_pages
from etchweb.machine.machines import Machines
from etchweb.newcomer import views as newcomer
from etchweb.orders import views as orders
from etchweb.practice import panel as practice
from etchweb.previews import views as previews
from etchweb.previews.store import PICTURES_FOLDER, path_name
from etchweb.reentry import views as reentry
from etchweb.run import routes as run
from etchweb.server import errors
from etchweb.server.csrf_and_headers import LARGEST_FORM_BYTES, LARGEST_PHOTO_BYTES, add_checks
from etchweb.server.host_names import LOOPBACK_NAMES
from etchweb.server.picker import add_picker
from etchweb.server.static_files import PageApp
from etchweb.server.uploads import ask_before_bodies
from etchweb.storage import views as storage
from etchweb.text.formatting import grouped, percent
from etchweb.text.timestamps import clock_time, day, moment

_HERE: Final = Path(__file__).parent


def create_app(
    daemon: Daemon,
    folder: Path,
    *,
    host_names: Sequence[str] = LOOPBACK_NAMES,
    open_to_loopback: bool = False,
    machine: Machine | None = None,
    machines: Machines | None = None,
) -> Flask:
    """Return the application, which asks `daemon` and keeps what is its own in `folder`.

    It answers to `host_names` only (without port), or a foreign page could reach the box under a
    name of its own. `open_to_loopback`: see Access. A practice `machine` gets a panel. `machines`:
    those of this board, whose pages share their doors. The caller starts the listener. Raises
    StoreUnusable.
    """
    app = PageApp(__name__, static_url_path=f"/static/{_static_version()}")
    app.config.update(
        TRUSTED_HOSTS=list(host_names),
        MAX_CONTENT_LENGTH=LARGEST_FORM_BYTES,
        MAX_FORM_MEMORY_SIZE=LARGEST_FORM_BYTES,
    )
    app.jinja_options = {"trim_blocks": True, "lstrip_blocks": True}
    machines = machines or Machines.of(folder)
    app.extensions["etchweb machines"] = machines
    app.extensions["etchweb"] = AppContext(
        daemon,
        folder / PICTURES_FOLDER,
        Listener(daemon),
        Access(machines.store, machines.known, is_open_to_loopback=open_to_loopback),
        machine,
        machines.tries,
        machines.streams,
    )
    app.add_template_filter(clock_time)
    app.add_template_filter(day)
    app.add_template_filter(moment)
    app.jinja_env.globals.update(as_speed=grouped, as_percent=percent)
    app.context_processor(lambda: {"has_practice": practice.is_at_hand()})
    app.jinja_env.globals["machines"] = machines
    app.jinja_env.globals["path_picture"] = lambda tile: _path_picture(folder, tile)
    app.config["LARGEST_PHOTO_BYTES"] = LARGEST_PHOTO_BYTES
    add_picker(app)
    errors.show_errors(app)
    add_checks(app)
    access.admit(app)
    ask_before_bodies(app)
    access.check_forms(app)
    drafts.register(app, folder)
    for room in (
        run, cards, bench, catalogue, logbook, newcomer, designs, orders, reentry, previews,
        machine_pages, pairing, fleet, storage,
    ):  # fmt: skip
        room.register(app)
    if machine is not None:
        practice.register(app)
    return app


def _path_picture(folder: Path, tile: str) -> str | None:
    """Return the name of the picture of a job's path, where somebody has drawn one."""
    name = path_name(tile)
    return name if tile and (folder / PICTURES_FOLDER / name).exists() else None


@cache  # while a page runs its static files do not change
def _static_version() -> str:
    """Return a digest of all static files: their address, so that a phone may keep them.

    The version is in the path, not in a query, because modules import one another by relative path.
    """
    digest = hashlib.sha256()
    for file in sorted(path for path in (_HERE / "static").rglob("*") if path.is_file()):
        digest.update(file.read_bytes())
    return digest.hexdigest()[:12]
