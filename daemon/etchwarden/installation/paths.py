"""Where an installation lies on a board."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

PAGE_SETTINGS: Final = "page.toml"


@dataclass(frozen=True, slots=True)
class Places:
    """The folders and files of an installation below `root`, which is / on a real board."""

    root: Path = Path("/")

    @property
    def is_board(self) -> bool:
        """Whether this is a board itself, and not a folder that plays one."""
        return self.root == Path("/")

    @property
    def home(self) -> Path:
        """The folder of all releases."""
        return self.root / "opt/etchwarden"

    @property
    def releases(self) -> Path:
        """The folder in which each release has one of its own."""
        return self.home / "releases"

    @property
    def current(self) -> Path:
        """The link to the release in use."""
        return self.home / "current"

    @property
    def previous(self) -> Path:
        """The link to the release before it."""
        return self.home / "previous"

    @property
    def unfinished(self) -> Path:
        """The note of a change that has begun and not ended."""
        return self.home / "unfinished.json"

    @property
    def files(self) -> Path:
        """The list of every file laid outside, for taking them away again."""
        return self.home / "files.txt"

    @property
    def command(self) -> Path:
        """The link by which people at the board find the command."""
        return self.root / "usr/local/bin/etchwarden"

    @property
    def lock(self) -> Path:
        """The file whose lock keeps a second installation out."""
        return self.root / "run/lock/etchwarden-install.lock"

    @property
    def settings(self) -> Path:
        """The folder of the machines' TOML files and the page's."""
        return self.root / "etc/etchwarden"

    @property
    def records(self) -> Path:
        """The folder in which each machine's daemon keeps its records."""
        return self.root / "var/lib/etchwarden"

    @property
    def page_records(self) -> Path:
        """The folder in which the page keeps what is its own."""
        return self.root / "var/lib/etchwarden-web"

    def socket(self, machine: str) -> Path:
        """Return where the daemon of `machine` listens."""
        return self.root / "run/etchwarden" / machine / "api.sock"

    def machines(self) -> tuple[str, ...]:
        """Return the names of the machines that are configured, sorted."""
        return tuple(sorted(path.stem for path in self._machine_files()))

    def machines_that_run(self) -> tuple[str, ...]:
        """Return the names of the machines whose daemon may run, also where its file has gone."""
        sockets = (self.root / "run/etchwarden").glob("*/api.sock")
        return tuple(sorted({*self.machines(), *(socket.parent.name for socket in sockets)}))

    def _machine_files(self) -> Iterator[Path]:
        for path in self.settings.glob("*.toml"):
            if path.name != PAGE_SETTINGS:
                yield path
