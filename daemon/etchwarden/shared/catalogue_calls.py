"""What commands say to and hear from the logbook about lasers, surfaces and recipes."""

import getpass
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import click

from etchproof.choosing.filed_cards import recipe_in_force
from etchproof.drift.advice import advice_on
from etchwarden.shared.heads import find_head
from etchwarden.shared.machine_calls import daemon_at
from etchwire.calls.catalogue import (
    Heads,
    RecipeEntry,
    SaveHead,
    SaveSurface,
    Surfaces,
)
from etchwire.calls.client import DaemonClient
from etchwire.calls.time_line import History
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Head, Recipe
from etchwire.catalogue.records import Surface


@dataclass(frozen=True, slots=True)
class CatalogueCalls:
    """A connection to the daemon, and who speaks."""

    daemon: DaemonClient
    who: str

    def head(self, name: str) -> Head:
        """Return the laser of that name, as the logbook has it or as a file describes it.

        What a file describes is saved; it keeps the register that was measured here.
        """
        heads_by_name = {one.name: one.head for one in self.daemon.ask(Heads()).heads}
        stored = heads_by_name.get(PRACTICE_HEADS[name].name if name in PRACTICE_HEADS else name)
        if stored is not None:
            return stored
        head = find_head(name)
        if head.name in heads_by_name and not head.register.is_measured:
            head = replace(head, register=heads_by_name[head.name].register)
        self.daemon.ask(SaveHead(head=head, who=self.who))
        return head

    def require_surface(self, name: str) -> None:
        """Have a surface of that name in the logbook, described or not."""
        if name not in [one.name for one in self.daemon.ask(Surfaces()).surfaces]:
            self.daemon.ask(SaveSurface(surface=Surface(name=name), who=self.who))
            click.echo(
                f"Note: {name!r} is new: say more of it with etchwarden surface set.", err=True
            )

    def recipe_in_force(self, head: str, surface: str) -> RecipeEntry | None:
        """Return the recipe in force for a laser on a surface."""
        return recipe_in_force(self.daemon.ask, head, surface)

    def advice(self, head: str, surface: str, *, air_assist: bool | None = None) -> list[str]:
        """Return sentences that say why to test again; `air_assist` is how it will be."""
        history = self.daemon.ask(History(head=head, surface=surface))
        return [due.advice for due in advice_on(history, air_assist=air_assist)]


@contextmanager
def catalogue_calls_at(socket: Path) -> Iterator[CatalogueCalls]:
    """Connect; what goes wrong on the wire ends the command with a sentence."""
    with daemon_at(socket) as daemon:
        yield CatalogueCalls(daemon, _who())


def settings_of(kept: RecipeEntry) -> Recipe:
    """Return what a job needs of a recipe that is kept in the logbook."""
    return Recipe(**{name: getattr(kept, name) for name in Recipe.__slots__})


def _who() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # no such user, as in a container
        return ""
