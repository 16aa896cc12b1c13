"""Boards for tests: a bare Debian, one where README was followed, and what its journal says."""

import re
import shutil
import signal
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from board.container import Container
from board.debian import RELEASES, base, folder_in_memory, layer
from board.shop import DAEMON, furnish, readme_commands, type_command

# A person reads these words as trouble: what Python says before it dies, and a call that was
# forbidden (SIGSYS).
TROUBLE = re.compile(r"Traceback|status=31/SYS|signal=SYS|Bad system call|Operation not permitted")
# A container may not make a loopback device of its own; the unit does without.
CONTAINERS_OWN = re.compile(r"Failed to configure loopback network device")
FIGURES: list[str] = []


@dataclass
class Installed:
    """A board on which README's commands were followed: its layers, and how it went."""

    release: str
    layers: list[Path]
    said: dict[str, str] = field(default_factory=dict)
    begun_s: float = 0.0
    minutes: float = 0.0


@pytest.fixture(scope="session")
def boards_folder() -> Iterator[Path]:
    with folder_in_memory() as folder:
        yield folder


@pytest.fixture(scope="session", params=RELEASES)
def release(request: pytest.FixtureRequest) -> str:
    return request.param


@pytest.fixture(scope="session")
def furnished(release: str, boards_folder: Path) -> list[Path]:
    """A bare Debian with a user, the sources and a practice port; nothing of ours installed."""
    bare = base(release)
    folder = boards_folder / release / "furnished"
    with layer([bare], folder) as root:
        furnish(root)
    return [folder / "changes", bare]


@pytest.fixture(scope="session")
def installed(release: str, furnished: list[Path], boards_folder: Path) -> Installed:
    """A board on which each of README's commands was typed once, as it stands there."""
    folder = boards_folder / release / "installed"
    result = Installed(release, [folder / "changes", *furnished])
    begun_s = time.monotonic()
    with running_board(furnished, folder) as board:
        for command in readme_commands():
            result.said[command] = type_command(board, command)
        board.until(lambda: board.is_active(DAEMON), "the daemon")
        require_clean_journal(board)
    result.minutes = (time.monotonic() - begun_s) / 60
    FIGURES.append(
        f"{RELEASES[release]}: {len(result.said)} commands from a bare container to an installed"
        f" board, {result.minutes:.1f} minutes"
    )
    return result


@pytest.fixture
def new_board(furnished: list[Path], boards_folder: Path) -> Iterator[Container]:
    """A board on which nothing of ours is installed yet."""
    with thrown_away(furnished, boards_folder) as board:
        yield board


@pytest.fixture
def board(installed: Installed, boards_folder: Path) -> Iterator[Container]:
    """An installed board, just switched on; its journal is looked through at the end."""
    with thrown_away(installed.layers, boards_folder) as board:
        board.until(lambda: board.is_active(DAEMON), "the daemon")
        yield board


@pytest.fixture
def note_figure() -> Callable[[str], None]:
    return FIGURES.append


@contextmanager
def thrown_away(layers: list[Path], folder: Path) -> Iterator[Container]:
    """Give a board of which nothing is kept but that its journal was clean."""
    own = Path(tempfile.mkdtemp(dir=folder))
    with running_board(layers, own / "board") as board:
        yield board
        require_clean_journal(board)
    shutil.rmtree(own)


@contextmanager
def running_board(layers: list[Path], folder: Path) -> Iterator[Container]:
    folder.mkdir(parents=True)
    with layer(layers, folder) as root:
        board = Container(root, folder / "console.log")
        try:
            board.switch_on()
            yield board
            board.switch_off()
        finally:
            board.kill()


def require_clean_journal(board: Container, *secrets: str) -> None:
    """Fail where the journal tells of a traceback, a forbidden call or one of `secrets`."""
    lines = board.journal().splitlines()
    bad = [line for line in lines if TROUBLE.search(line) and not CONTAINERS_OWN.search(line)]
    assert bad == [], "\n".join(lines[-200:])
    assert [secret for secret in secrets if any(secret in line for line in lines)] == []


def pytest_configure() -> None:
    # Whoever ends the tests has them end their boards first.
    signal.signal(signal.SIGTERM, signal.default_int_handler)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.board)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    for line in FIGURES:
        terminalreporter.write_line(line)
