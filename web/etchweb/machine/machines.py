"""The machines of one board: what their pages share, and the page that shows them together."""

import threading
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Self

from flask import Blueprint, current_app, render_template

from etchweb.auth.pairing import PairingAttempts
from etchweb.auth.store import Store
from etchweb.daemon.listener import Listener
from etchweb.run.stream import MAX_STREAMS, view_of
from etchweb.server.admission import KnownAddresses
from etchweb.server.uploads import Uploads, free_bytes_of
from etchweb.text.view import View

pages = Blueprint("machines", __name__)


@dataclass(slots=True)
class Machines:
    """The machines by name, and the doors that all of them share: phones, tries, streams, uploads.

    A phone is paired with the board, and the threads that its streams hold are the board's.
    """

    store: Store
    uploads: Uploads
    tries: PairingAttempts = field(default_factory=PairingAttempts)
    known: KnownAddresses = field(default_factory=KnownAddresses)
    streams: threading.BoundedSemaphore = field(
        default_factory=lambda: threading.BoundedSemaphore(MAX_STREAMS)
    )
    listeners: dict[str, Listener] = field(default_factory=dict)

    @classmethod
    def of(cls, folder: Path) -> Self:
        """Return what machines share that keep their own in `folder`; raise StoreUnusable."""
        return cls(Store(folder), Uploads(partial(free_bytes_of, folder)))

    @property
    def are_several(self) -> bool:
        """Whether there is a choice to be made."""
        return len(self.listeners) > 1

    def views(self) -> dict[str, View]:
        """Return what there is to say about each machine."""
        return {name: view_of(listener.report) for name, listener in self.listeners.items()}


def place_of(name: str) -> str:
    """Return where the page of a machine lies on a board that has several."""
    return f"/m/{name}"


@pages.get("/machines")
def show() -> str:
    """Show every machine of the board, each a way to its page."""
    machines: Machines = current_app.extensions["etchweb machines"]
    return render_template("machine/machines.html", views=machines.views(), place_of=place_of)
