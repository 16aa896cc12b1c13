"""What the views of one application share: the daemon, the page's folder, the visitor."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Final, TypeVar

from flask import abort, current_app, g

from etchweb.auth.access import Access
from etchweb.auth.pairing import PairingAttempts
from etchweb.daemon.listener import Listener
from etchweb.daemon.protocol import Daemon
from etchweb.text.formatting import as_sentence
from etchwire.calls.call import Call
from etchwire.errors import DaemonAbsent, Refused

Machine = Callable[..., Any]  # asks the practice machine for a verb
Answer = TypeVar("Answer")

LARGEST_NUMBER: Final = 2**53 - 1  # of anything that the logbook numbers


@dataclass(slots=True)
class AppContext:
    """What the views of one application share."""

    daemon: Daemon
    pictures: Path
    listener: Listener
    access: Access
    machine: Machine | None  # the practice machine, where there is one
    tries: PairingAttempts
    streams: threading.BoundedSemaphore
    cautions_read: dict[str, datetime] = field(default_factory=dict)  # by who holds a phone


def app_context() -> AppContext:
    """Return the context of the current application."""
    context: AppContext = current_app.extensions["etchweb"]
    return context


def visitor_name() -> str:
    """Return the visitor's name for the logbook; empty for a visitor who is not paired."""
    return "" if g.visitor.phone is None else str(g.visitor.phone.name)


def answered(call: Call[Answer]) -> Answer:
    """Return the daemon's answer; end the request where it refuses or is away."""
    with refusals_as_pages():
        return app_context().daemon.ask(call)


@contextmanager
def refusals_as_pages() -> Iterator[None]:
    """End the request with the daemon's sentence where it refuses or is away."""
    try:
        with absence_as_page():
            yield
    except Refused as refusal:
        abort(404 if refusal.kind == "refused" else 503, as_sentence(str(refusal)))


@contextmanager
def absence_as_page() -> Iterator[None]:
    """End the request with 503 while the daemon is away; a refusal is the caller's."""
    try:
        yield
    except DaemonAbsent as error:
        sentence = as_sentence(str(error))
        abort(503, f"{sentence} The logbook is with it; look again when it is back.")
