"""The logbook's one connection, and whose turn it is to use it."""

import sqlite3
import threading
from typing import Any


class LogbookConnection(sqlite3.Connection):
    """A connection that two threads use by turns: whoever uses it holds `turn`.

    SQLite's own lock keeps them apart too, but Python waits for that one without letting other
    threads run: a value bound during a step of a backup would make the loop wait for the card.
    """

    def __init__(self, *arguments: Any, **more: Any) -> None:
        """Connect, as sqlite3 does."""
        super().__init__(*arguments, **more)
        self.turn = threading.Lock()
