"""What is to be told and has not been yet, in a small database of the page's own.

It outlives the process: nothing that happened is told twice because the page was started again,
and nothing is forgotten because a mail host was away.
"""

import sqlite3
import uuid
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etchweb.alerts.news import News, cut_off, held_long
from etchweb.server.page_database import PageDatabase
from etchwire.alert_policy import Alert

FILE_NAME: Final = "alerts.sqlite3"
WAITS_S: Final = (10.0, 30.0, 120.0, 600.0, 1800.0, 3600.0)  # after each try that came to nothing
GIVE_UP_AFTER_S: Final = 86_400.0
MOST_LETTERS: Final = 1000
_MET: Final = ""  # the key by which a machine is known at all

# The first step meets databases of releases that counted no steps.
MIGRATIONS: Final = (
    (
        "DROP TABLE IF EXISTS standing",  # one thing a machine, as earlier releases kept it
        """
        CREATE TABLE IF NOT EXISTS news (
            machine TEXT NOT NULL,
            key TEXT NOT NULL,
            title TEXT NOT NULL,
            goes_on INTEGER NOT NULL,
            since_s REAL NOT NULL,
            is_reminded INTEGER NOT NULL,
            PRIMARY KEY (machine, key)
        ) STRICT
        """,
        """
        CREATE TABLE IF NOT EXISTS letter (
            id TEXT PRIMARY KEY,
            channel TEXT NOT NULL,
            machine TEXT NOT NULL,
            kind TEXT NOT NULL,
            title TEXT NOT NULL,
            text TEXT NOT NULL,
            made_at_s REAL NOT NULL,
            tries INTEGER NOT NULL,
            next_at_s REAL NOT NULL
        ) STRICT
        """,
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Notification:
    """One piece of news for one channel; `id` stays the same however often it is tried.

    `kind` is an Alert's word, perhaps of a later release that was gone back from.
    """

    id: str
    channel: str
    machine: str
    kind: str
    title: str
    text: str
    made_at_s: float
    tries: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertPreferences:
    """Who is told what."""

    channels: Collection[str]
    kinds: Collection[Alert]
    held_long_s: float


@dataclass(frozen=True, slots=True)
class _NotedNews:
    """What was so when it was noted last."""

    title: str
    goes_on: bool
    since_s: float
    is_reminded: bool


class Outbox:
    """News and notifications of every machine; any thread may ask. Methods raise StoreUnusable."""

    def __init__(self, folder: Path, wanted: AlertPreferences) -> None:
        self._database = PageDatabase(folder / FILE_NAME, MIGRATIONS)
        self._wanted = wanted
        self._arrived: set[str] = set()  # and the card has not taken it yet
        with self._database.transaction() as book:
            self._database.migrate(book)

    def note(self, machine: str, news: Sequence[News], now_s: float) -> None:
        """Take note of what is so at `machine`; queue what is new, and a reminder when it is due.

        An end that this box knew nothing of before is old news: it is noted and not told. An etch
        that goes on no more, of whose end nothing is said, was cut off.
        """
        with self._database.transaction() as book:
            known = _known(book, machine)
            still = {_MET} | {one.key for one in news}
            ended = {one.ends for one in news}
            for key in known.keys() - still:
                _forget(book, machine, key)
                if known[key].goes_on and key not in ended:
                    self._queue(book, machine, cut_off(known[key].title), now_s)
            for one in (News(_MET, None, ""), *news):
                if one.key not in known:
                    _keep(book, machine, one, now_s)
                    if known or not one.ends:
                        self._queue(book, machine, one, now_s)
                elif one.kind is Alert.HELD:
                    self._remind(book, machine, one, known[one.key], now_s)

    def note_away(self, machine: str, now_s: float) -> None:
        """Take note that nothing is heard of `machine`: an etch that was under way is cut off."""
        with self._database.transaction() as book:
            for key, stood in _known(book, machine).items():
                if stood.goes_on:
                    _forget(book, machine, key)
                    self._queue(book, machine, cut_off(stood.title), now_s)

    def next_due(self, now_s: float) -> Notification | None:
        """Return the letter to try now; one whose turn is impossibly far off is due as well.

        A clock that was wrong when it was queued has been set since.
        """
        with self._database.transaction() as book:
            self._forget_arrived(book)
            row = book.execute(
                "SELECT id, channel, machine, kind, title, text, made_at_s, tries FROM letter"
                " WHERE next_at_s <= ? OR next_at_s > ? ORDER BY next_at_s, rowid LIMIT 1",
                (now_s, now_s + WAITS_S[-1]),
            ).fetchone()
        self._arrived.clear()
        if row is None:
            return None
        number, channel, machine, kind, title, text, made_at_s, tries = row
        return Notification(
            id=number, channel=channel, machine=machine, kind=kind, title=title, text=text,
            made_at_s=made_at_s, tries=tries,
        )  # fmt: skip

    def note_sent(self, letter: Notification) -> None:
        """Forget a letter that has arrived; it is not sent again where the card is full."""
        self._arrived.add(letter.id)
        with self._database.transaction() as book:
            self._forget_arrived(book)
        self._arrived.clear()

    def _forget_arrived(self, book: sqlite3.Connection) -> None:
        for number in tuple(self._arrived):
            book.execute("DELETE FROM letter WHERE id = ?", (number,))

    def note_failed(self, letter: Notification, now_s: float) -> float | None:
        """Return how long until the next try, or None when it is given up: a day is enough."""
        wait_s = WAITS_S[min(letter.tries, len(WAITS_S) - 1)]
        if now_s + wait_s - letter.made_at_s > GIVE_UP_AFTER_S:
            self.note_sent(letter)
            return None
        with self._database.transaction() as book:
            book.execute(
                "UPDATE letter SET tries = tries + 1, next_at_s = ? WHERE id = ?",
                (now_s + wait_s, letter.id),
            )
        return wait_s

    def _remind(
        self, book: sqlite3.Connection, machine: str, news: News, stood: _NotedNews, now_s: float
    ) -> None:
        held_s = now_s - stood.since_s
        if stood.is_reminded or held_s < self._wanted.held_long_s:
            return
        book.execute(
            "UPDATE news SET is_reminded = 1 WHERE machine = ? AND key = ?", (machine, news.key)
        )
        self._queue(book, machine, held_long(news.title, news.text, held_s), now_s)

    def _queue(self, book: sqlite3.Connection, machine: str, news: News, now_s: float) -> None:
        if news.kind not in self._wanted.kinds:
            return
        for channel in self._wanted.channels:
            book.execute(
                "INSERT INTO letter VALUES (?, ?, ?, ?, ?, ?, ?, 0, ?)",
                (str(uuid.uuid4()), channel, machine, news.kind, news.title, news.text,
                 now_s, now_s),
            )  # fmt: skip
        book.execute(
            "DELETE FROM letter WHERE rowid <= (SELECT max(rowid) FROM letter) - ?",
            (MOST_LETTERS,),
        )


def _known(book: sqlite3.Connection, machine: str) -> dict[str, _NotedNews]:
    rows = book.execute(
        "SELECT key, title, goes_on, since_s, is_reminded FROM news WHERE machine = ?", (machine,)
    )
    return {
        key: _NotedNews(title, bool(goes_on), since_s, bool(is_reminded))
        for key, title, goes_on, since_s, is_reminded in rows
    }


def _keep(book: sqlite3.Connection, machine: str, news: News, now_s: float) -> None:
    goes_on = news.occasion is None and news.key != _MET
    book.execute(
        "INSERT INTO news VALUES (?, ?, ?, ?, ?, 0)",
        (machine, news.key, news.title, goes_on, now_s),
    )


def _forget(book: sqlite3.Connection, machine: str, key: str) -> None:
    book.execute("DELETE FROM news WHERE machine = ? AND key = ?", (machine, key))
