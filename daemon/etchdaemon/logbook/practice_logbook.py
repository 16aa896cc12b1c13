"""The logbook of a practice box, whose card can be told to fill up or to answer nothing."""

import time
from pathlib import Path
from typing import Any, Final

from etchdaemon.logbook.logbook_connection import LogbookConnection

_LOOK_EVERY_S: Final = 0.01
_MOST_PAGES: Final = 4_294_967_294  # SQLite's own limit: https://sqlite.org/limits.html


class PracticeLogbook(LogbookConnection):
    """A Book before each of whose transactions the practice machine's file `card` is read.

    While that says `stuck` nothing goes on; while it says `full`, SQLite itself finds no room
    for another page. Without the file all is well.
    """

    def __init__(self, path: Path, card: Path, **more: Any) -> None:
        """Connect, as sqlite3 does."""
        super().__init__(path, **more)
        self._card = card
        self._was_full = False

    def execute(self, sql: str, *parameters: Any) -> Any:
        """Execute, as sqlite3 does, once the card lets it."""
        if sql.startswith("BEGIN"):
            self._wait_for_card()
        return super().execute(sql, *parameters)

    def _wait_for_card(self) -> None:
        while (state := self._state()) == "stuck":
            time.sleep(_LOOK_EVERY_S)
        is_full = state == "full"
        if is_full is not self._was_full:
            self._was_full = is_full
            pages = 1 if is_full else _MOST_PAGES  # fewer than there are means: as many
            super().execute(f"PRAGMA max_page_count = {pages}").fetchall()

    def _state(self) -> str:
        try:
            return self._card.read_text(encoding="ascii")
        except FileNotFoundError:
            return ""
