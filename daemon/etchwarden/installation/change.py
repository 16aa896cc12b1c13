"""Changing to another release, step by step, so that a power cut after any of them does no harm."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, Protocol

from etchwarden.installation.errors import InstallationError, Refused
from etchwarden.installation.file_layout import lay
from etchwarden.installation.keeping import Copy
from etchwarden.installation.layout import layout_of
from etchwarden.installation.paths import Places
from etchwarden.installation.releases import Releases
from etchwarden.installation.undisturbed import one_at_a_time, to_the_end
from etchwarden.installation.unfinished import Unfinished, forget
from etchwarden.installation.wheel import Wheel


class Board(Protocol):
    """The computer whose release is changed."""

    def busy(self) -> tuple[str, ...]:
        """Return a sentence for each machine that must not be disturbed now."""
        ...

    def stop(self) -> None:
        """End the page and the daemons."""
        ...

    def back_up(self, earlier: tuple[Copy, ...]) -> tuple[Copy, ...]:
        """Keep a verified copy of every machine's records; the daemons are stopped.

        Return what to put back if it comes to that: of records that an earlier attempt at this
        change has already rewritten, its own copy out of `earlier`.
        """
        ...

    def put_back(self, copies: tuple[Copy, ...]) -> None:
        """Put the copies back in place of records that the old release cannot read."""
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
            for step in STEPS:
                self.say(step.sentence)
                try:
                    step.do(self)
                except (InstallationError, OSError, KeyboardInterrupt) as failure:
                    if step.disturbs:
                        with to_the_end():
                            self._go_back(failure)
                    raise
                done(step)

    @property
    def begun(self) -> Unfinished:
        """What this change goes back to, as noted; or as it stands, where nothing is noted yet."""
        noted = Unfinished.noted(self.places)
        if noted is not None and self._is_there(noted.came_from):
            return noted
        current = self.releases.current()
        came_from = current if self._is_there(current) else None
        return Unfinished(came_from, self.releases.previous())

    def _is_there(self, label: str | None) -> bool:
        return label is not None and self.releases.is_complete(label)

    def _go_back(self, failure: BaseException) -> None:
        self.say(f"That failed: {failure or 'it was interrupted'}")
        begun = self.begun
        old = begun.came_from
        if old is None:
            return
        self.board.stop()
        if old != self.wheel.label:
            self.say(f"Going back to {old}.")
            lay(layout_of(self.releases.board_files(old)), self.places)
            self.board.put_back(begun.copies)  # a release reads older records, not newer ones
            self.releases.switch(old, begun.before_it)
            self.board.settle()
        self.board.start()
        faults = self.board.faults()
        forget(self.places)
        again = "stays in use" if old == self.wheel.label else "is in use again"
        self.say("\n".join((f"{old} {again}.", *faults)))


def _require_rest(change: Change) -> None:
    busy = change.board.busy()
    if busy:
        raise Refused("\n".join((*busy, "Nothing was changed. Try again when it has ended.")))


def _note(change: Change) -> None:
    change.begun.note(change.places)


def _back_up(change: Change) -> None:
    begun = change.begun
    copies = change.board.back_up(begun.copies)
    replace(begun, copies=copies).note(change.places)
    if begun.came_from == change.wheel.label:  # somebody goes back by hand
        change.board.put_back(copies)


def _switch(change: Change) -> None:
    begun = change.begun
    is_same = begun.came_from == change.wheel.label
    change.releases.switch(change.wheel.label, begun.before_it if is_same else begun.came_from)


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
    Step("look again", "Making sure of it once more.", _require_rest, disturbs=False),
    Step("note", "Noting what to go back to.", _note, disturbs=False),
    Step("rest", "Stopping page and daemons.", lambda change: change.board.stop()),
    Step("backup", "Keeping a copy of the records.", _back_up),
    # A release starts under the units of the one before it, never the other way round: so the
    # release comes first here, and last on the way back.
    Step("switch", "Switching to the release.", _switch),
    Step(
        "files",
        "Laying units, device rules and users.",
        lambda change: lay(layout_of(change.wheel.board), change.places),
    ),
    Step("settle", "Telling the system.", lambda change: change.board.settle()),
    Step("start", "Starting daemons and page.", lambda change: change.board.start()),
    Step("check", "Checking that all is well.", _check),
    Step(
        "end",
        "It is in use.",
        lambda change: forget(change.places),
        disturbs=False,
    ),
    Step(
        "prune",
        "Removing what is older than the release before.",
        lambda change: change.releases.prune(),
        disturbs=False,
    ),
)
