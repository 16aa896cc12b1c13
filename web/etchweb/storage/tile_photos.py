"""Photos of wiped tiles: made anew by a child process, so that nothing of the file remains.

What was hidden in the file (where it was taken, other files, scripts) does not come through, and a
picture made to break a decoder breaks the child. The child's request: `source` and `target`, paths,
and how people call the photo (`called`).
"""

import hashlib
import re
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

from etchweb.previews.store import SCRATCH
from etchwire.children.child_process import Cause, ChildFailed, ChildProcess
from etchwire.children.child_program import ChildProgram, OnShare, Request, WorkFailed, serve

COPIER: Final = ChildProgram(module="etchweb.storage.tile_photos", memory_mb=250, deadline_s=120.0)
NAME: Final = re.compile(r"tile-[0-9a-f]{64}\.jpg")
LONGER_SIDE_PX: Final = 1600
_QUALITY: Final = 82
_NOT_KEPT: Final = "not kept"  # the kind of failure that is the storage's
NO_MEMORY: Final = "The photo needs more memory than the box has. Choose a smaller one."
NOT_READ: Final = "The photo could not be read. Take it again, or choose another."


class NoTilePhoto(ValueError):
    """What was sent is no photo that can be kept; the message says why.

    `status` is the HTTP status that says whose doing that is.
    """

    def __init__(self, sentence: str, status: int = 422) -> None:
        super().__init__(sentence)
        self.status = status


def keep_tile_photo(save: Callable[[Path], None], folder: Path, *, called: str) -> str:
    """Keep the photo that `save` writes to a path, and return our name for it.

    Raise NoTilePhoto with a sentence that names it as it is `called`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder, prefix=SCRATCH) as scratch:
        sent, made = Path(scratch) / "sent", Path(scratch) / "made.jpg"
        save(sent)
        _make_anew(sent, made, called)
        name = f"tile-{hashlib.sha256(made.read_bytes()).hexdigest()}.jpg"
        made.replace(folder / name)
    return name


def _make_anew(sent: Path, made: Path, called: str) -> None:
    request = {"source": str(sent), "target": str(made), "called": called}
    try:
        ChildProcess(COPIER, request).run()
    except ChildFailed as failure:
        if failure.cause is Cause.FAILED:
            status = 507 if failure.kind == _NOT_KEPT else 422
            raise NoTilePhoto(failure.sentence, status) from failure
        is_for_memory = failure.cause is Cause.OUT_OF_MEMORY
        raise NoTilePhoto(NO_MEMORY if is_for_memory else NOT_READ) from failure


def copy_photo(request: Request, _on_share: OnShare) -> None:
    """Be the child: draw the photo `source` anew at `target`; raise WorkFailed."""
    from etchphoto.errors import EtchphotoError  # noqa: PLC0415 - heavy: only once limits hold
    from etchphoto.small_copy import small_copy  # noqa: PLC0415
    from etchwire.storing import fault_of_card  # noqa: PLC0415

    try:
        copy = small_copy(Path(request["source"]), request["called"], LONGER_SIDE_PX)
        copy.save(request["target"], "JPEG", quality=_QUALITY)
    except EtchphotoError as error:
        raise WorkFailed(str(error)) from error
    except (OSError, SyntaxError, ValueError, MemoryError) as error:  # decoders' at broken files
        reason = fault_of_card(error)
        if reason is None:
            raise WorkFailed(NOT_READ) from error
        raise WorkFailed(f"The photo could not be saved: {reason}.", _NOT_KEPT) from error


if __name__ == "__main__":
    sys.exit(serve(COPIER, copy_photo))
