"""Photos of wiped tiles: made anew by a child process, so that nothing of the file remains.

    python -m etchweb.storage.tile_photos SOURCE TARGET

What was hidden in the file (where it was taken, other files, scripts) does not come through, and a
picture made to break a decoder breaks the child. Its last word is a sentence when it fails.
"""

import hashlib
import re
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from etchweb.previews.store import SCRATCH
from etchwire.child_limits import limit_child

MODULE: Final = "etchweb.storage.tile_photos"
NAME: Final = re.compile(r"tile-[0-9a-f]{64}\.jpg")
LONGER_SIDE_PX: Final = 1600
MEMORY_MB: Final = 250
PATIENCE_S: Final = 120.0
_QUALITY: Final = 82
_UNFIT, _NOT_KEPT = 1, 3  # the child's exit codes
_STATUS: Final = {_UNFIT: 422, _NOT_KEPT: 507}
NO_MEMORY: Final = "The photo needs more memory than the box has. Choose a smaller one."
NOT_READ: Final = "The photo could not be read. Take it again, or choose another."


class NoTilePhoto(ValueError):
    """What was sent is no photo that can be kept; the message says why.

    `status` is the HTTP status that says whose doing that is.
    """

    def __init__(self, sentence: str, status: int = 422) -> None:
        super().__init__(sentence)
        self.status = status


def keep_tile_photo(save: Callable[[Path], None], folder: Path) -> str:
    """Keep the photo that `save` writes to a path, and return its name; raise NoTilePhoto."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder, prefix=SCRATCH) as scratch:
        sent, made = Path(scratch) / "sent", Path(scratch) / "made.jpg"
        save(sent)
        _make_anew(sent, made)
        name = f"tile-{hashlib.sha256(made.read_bytes()).hexdigest()}.jpg"
        made.replace(folder / name)
    return name


def _make_anew(sent: Path, made: Path) -> None:
    try:
        done = subprocess.run(
            [sys.executable, "-m", MODULE, sent, made],
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise NoTilePhoto(NOT_READ) from error
    if done.returncode in _STATUS and done.stdout.strip():
        raise NoTilePhoto(done.stdout.strip(), _STATUS[done.returncode])
    if done.returncode == -signal.SIGKILL:  # what the kernel ends for memory
        raise NoTilePhoto(NO_MEMORY)
    if done.returncode or not made.exists():
        raise NoTilePhoto(NOT_READ)


def main(arguments: Sequence[str]) -> int:
    """Make the photo anew; return the exit code."""
    source, target = map(Path, arguments)
    limit_child(memory_mb=MEMORY_MB, processor_s=int(PATIENCE_S))
    from etchphoto.errors import EtchphotoError  # noqa: PLC0415 - after the limits
    from etchwire.storing import fault_of_card  # noqa: PLC0415

    try:
        _draw_anew(source, target)
    except EtchphotoError as error:
        print(error)  # noqa: T201 - this is how the page hears of it
        return _UNFIT
    except (OSError, SyntaxError, ValueError, MemoryError) as error:  # decoders' at broken files
        told = fault_of_card(error)
        print(f"The photo could not be kept: {told}." if told else NOT_READ)  # noqa: T201
        return _NOT_KEPT if told else _UNFIT
    return 0


def _draw_anew(source: Path, target: Path) -> None:
    from etchphoto.small_copy import small_copy  # noqa: PLC0415 - as above

    small_copy(source, "The photo", LONGER_SIDE_PX).save(target, "JPEG", quality=_QUALITY)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
