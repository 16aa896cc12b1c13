"""Running other programs: Python's environments, pip with wheels by their hashes, the system's."""

import os
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from etchwarden.installation.errors import StepFailed

LAST_WORDS: Final = 12  # lines
# What pip may be told from outside: how a registry is reached. Where things come from and go to
# is ours; a board's own settings name further registries (Raspberry Pi OS does).
PIPS_WAY_OUT: Final = frozenset({
    "PIP_CERT", "PIP_CLIENT_CERT", "PIP_DEFAULT_TIMEOUT", "PIP_INDEX_URL", "PIP_PROXY",
    "PIP_RETRIES", "PIP_TIMEOUT",
})  # fmt: skip
# What people can do something about, by the words of the program that met it.
KNOWN_TROUBLE: Final = (
    (
        ("ensurepip", "No module named venv"),
        "Python's part that makes environments is missing. Run: sudo apt install python3-venv",
    ),
    (
        ("NewConnectionError", "NameResolutionError", "ConnectTimeoutError", "ReadTimeoutError",
         "Network is unreachable"),
        "The libraries could not be fetched: nobody answers. Connect the board to the internet,"
        " or bring the wheels in a folder and use --wheelhouse.",
    ),
    (
        ("No space left on device",),
        "The card is full. Make room (`sudo apt clean` is a beginning) and run it again.",
    ),
)  # fmt: skip


def run(command: Sequence[str], environment: dict[str, str] | None = None) -> str:
    """Run a program and return what it printed; raise StepFailed with its last words.

    It inherits the lock of the installation, which therefore lasts as long as anybody works on
    it, also when we are killed.
    """
    try:
        done = subprocess.run(
            command, env=environment, capture_output=True, text=True, errors="replace",
            check=False, close_fds=False, stdin=subprocess.DEVNULL,
        )  # fmt: skip
    except OSError as error:
        raise StepFailed(f"{command[0]} cannot be run: {error.strerror}.") from error
    if done.returncode != 0:
        said = done.stdout + done.stderr
        words = "\n".join(f"  {word}" for word in said.strip().splitlines()[-LAST_WORDS:])
        trouble_text = " ".join(_known_trouble(said))
        raise StepFailed(trouble_text or f"{' '.join(command[:4])} … ended with an error:\n{words}")
    return done.stdout


def make_environment(python: str, folder: Path, *options: str) -> None:
    """Make an environment in `folder`."""
    run([python, "-m", "venv", *options, str(folder)])


def pip(folder: Path, *arguments: str) -> None:
    """Run pip in the environment of `folder`, which hears of no settings but ours."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("PIP_") or name in PIPS_WAY_OUT
    }
    run(
        [str(folder / "bin/python"), "-m", "pip", "--disable-pip-version-check", *arguments],
        environment | {"PIP_CONFIG_FILE": os.devnull, "PIP_NO_CACHE_DIR": "1", "PIP_NO_INPUT": "1"},
    )


def source_of(wheelhouse: Path | None) -> list[str]:
    """Return pip's words for taking wheels from a folder alone."""
    return ["--no-index", f"--find-links={wheelhouse}"] if wheelhouse else []


def _known_trouble(said: str) -> list[str]:
    return [sentence for words, sentence in KNOWN_TROUBLE if any(word in said for word in words)]
