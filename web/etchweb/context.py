"""What the views of one application share: the daemon, the page's folder, the visitor."""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from flask import current_app, g

from etchweb.auth.access import Access
from etchweb.auth.pairing import PairingAttempts
from etchweb.daemon.listener import Listener
from etchweb.daemon.protocol import Daemon

Machine = Callable[..., Any]  # asks the practice machine for a verb


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
