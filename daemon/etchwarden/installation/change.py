"""Changing to another release, step by step, so that a power cut after any of them does no harm."""

import fcntl
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final, Protocol

from etchwarden.installation.errors import InstallationError, Refused
from etchwarden.installation.laying import lay
from etchwarden.installation.layout import layout_of
from etchwarden.installation.places import Places
from etchwarden.installation.releases import Releases
from etchwarden.installation.wheel import Wheel


class Board(Protocol):
    """The computer whose release is changed."""

    def busy(self) -> tuple[str, ...]:
        """Return a sentence for each machine that must not be disturbed now."""
        ...

    def stop(self) -> None:
        """End the page and the daemons."""
        ...

    def back_up(self) -> None:
        """Keep a verified copy of every machine's records; the daemons are stopped."""
        ...

    def put_back(self) -> None:
        """Put the copies of this change back in place of records the old release cannot read."""
        ...

    def settle(self) -> None:
        """Have the system take note of users, folders, device rules and units."""
        ...

    def start(self) -> None:
        """Start the daemons of the machines that are configured, and the page."""
        ...

    def faults(self) -> tuple[str, ...]:
        """Return what the self-check finds that the release may be to blame for."""
        ...


@dataclass(frozen=True, slots=True)
class Step:
    """One thing done on the way to the new release, and what a person is told about it."""

    name: str
    sentence: str
    do: Callable[["Change"], None]
    disturbs: bool = True  # whether a failure here has to be undone


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """The way from whatever is there to the release of `wheel`."""

    places: Places
    releases: Releases
    board: Board
    wheel: Wheel
    say: Callable[[str], None]

    def run(self, done: Callable[[Step], None] = lambda _step: None) -> None:
        """Take every step, calling `done` after each; when one fails, go back to the old release.

        Raise what failed: InstallationError, OSError as of a full card, KeyboardInterrupt. After a
        power cut, running it again finishes.
        """
        with one_at_a_time(self.places):
            old = self.old
            for step in STEPS:
                self.say(step.sentence)
                try:
                    step.do(self)
                except (InstallationError, OSError, KeyboardInterrupt) as failure:
                    if step.disturbs and old is not None:
                        self._go_back(old, failure)
                    raise
                done(step)

    @property
    def old(self) -> str | None:
        """The release to go back to: the one in use, or the one before a change cut short."""
        current = self.releases.current()
        return current if current != self.wheel.label else self.releases.previous()

    def _go_back(self, old: str, failure: BaseException) -> None:
        self.say(f"That failed: {failure or 'it was interrupted'}")
        self.say(f"Going back to {old}.")
        self.board.stop()
        lay(layout_of(self.releases.board_files(old)), self.places)
        self.releases.switch(old)
        self.board.put_back()
        self.board.settle()
        self.board.start()
        faults = self.board.faults()
        self.say("\n".join((f"{old} is in use again.", *faults)))


def _require_rest(change: Change) -> None:
    busy = change.board.busy()
    if busy:
        raise Refused("\n".join((*busy, "Nothing was changed. Try again when it has ended.")))


def _check(change: Change) -> None:
    faults = change.board.faults()
    if faults:
        raise InstallationError("\n".join(("The self-check failed.", *faults)))


STEPS: Final = (
    Step("look", "Making sure that no machine is at work.", _require_rest, disturbs=False),
    Step(
        "release",
        "Making the release; this takes a few minutes on a small board.",
        lambda change: change.releases.make(change.wheel),
        disturbs=False,
    ),
    Step("look again", "Looking again.", _require_rest, disturbs=False),
    Step("rest", "Stopping page and daemons.", lambda change: change.board.stop()),
    Step("backup", "Keeping a copy of the records.", lambda change: change.board.back_up()),
    Step(
        "files",
        "Laying units, device rules and users.",
        lambda change: lay(layout_of(change.wheel.board), change.places),
    ),
    Step(
        "switch",
        "Switching to the release.",
        lambda change: change.releases.switch(change.wheel.label),
    ),
    Step("settle", "Telling the system.", lambda change: change.board.settle()),
    Step("start", "Starting daemons and page.", lambda change: change.board.start()),
    Step("check", "Checking that all is well.", _check),
    Step(
        "prune",
        "Removing what is older than the release before.",
        lambda change: change.releases.prune(),
        disturbs=False,
    ),
)


@contextmanager
def one_at_a_time(places: Places) -> Iterator[None]:
    """Keep a second installation out; raise Refused when one is under way."""
    places.lock.parent.mkdir(parents=True, exist_ok=True)
    with places.lock.open("w") as file:
        os.set_inheritable(file.fileno(), True)  # see `releases.run`
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise Refused("Another installation is under way. Wait until it has ended.") from error
        yield
