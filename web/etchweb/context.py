"""What the views of one application share: the daemon, the page's folder, who is at the door."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flask import current_app, g

from etchweb.auth.access import Access
from etchweb.auth.pairing import Tries
from etchweb.daemon.listener import Listener
from etchweb.daemon.protocol import Daemon

Machine = Callable[..., Any]  # asks the practice machine for a verb


@dataclass(slots=True)
class House:
    """What the views of one application share."""

    daemon: Daemon
    pictures: Path
    listener: Listener
    access: Access
    machine: Machine | None  # the practice machine, where there is one
    tries: Tries
    streams: threading.BoundedSemaphore


def house() -> House:
    """Return what the application in hand has."""
    found: House = current_app.extensions["etchweb"]
    return found


def who() -> str:
    """Return who asks, as the logbook has it."""
    return "" if g.visitor.phone is None else str(g.visitor.phone.name)
