"""The heavy work on one draft, in a process of its own: the page never loads numpy or Pillow.

    python -m etchweb.workers.process take|try|make FOLDER

It lowers its own priority and limits its own memory, reads the draft in FOLDER, and leaves what
it made there. On its output: lines of JSON, `{"share": 0.4}` on the way, and at last nothing more
or `{"failed": "a sentence", "kind": "NotAPhoto"}` with exit code 1.
"""

import argparse
import json
import signal
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any, Final

from etchweb.workers.work import CARD_FAULT, NO_MEMORY, PATIENCE_S
from etchwire.child_limits import limit_child

MEMORY_MB: Final = 250
VERBS: Final = {  # where each is done; imported only then
    "take": ("etchweb.drafts.making", "take_picture"),
    "try": ("etchweb.drafts.making", "try_picture"),
    "make": ("etchweb.drafts.making", "make_picture"),
    "card": ("etchweb.cards.making", "make_card"),
    "read": ("etchweb.cards.making", "read_card_photos"),
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what `arguments` name; return the exit code."""
    wishes = _parser().parse_args(arguments)
    limit_child(memory_mb=MEMORY_MB, processor_s=int(PATIENCE_S))
    signal.signal(signal.SIGPIPE, signal.SIG_DFL)  # no work, and no complaint, for a dead page
    # Only now: numpy's threads and memory have to follow the limits.
    from etchphoto.errors import EtchphotoError  # noqa: PLC0415
    from etchproof.errors import EtchproofError  # noqa: PLC0415
    from etchwire.storing import fault_of_card  # noqa: PLC0415

    module, name = VERBS[wishes.verb]
    verb: Callable[[Path, Callable[[float], None]], None] = getattr(import_module(module), name)
    try:
        verb(wishes.folder, lambda share: _say(share=round(share, 3)))
    except (EtchphotoError, EtchproofError, OSError) as error:
        told = fault_of_card(error)
        if told is not None:
            _say(failed=f"The picture could not be kept: {told}", kind=CARD_FAULT)
        elif isinstance(error, EtchphotoError | EtchproofError):
            _say(failed=str(error), kind=type(error).__name__)
        else:
            raise
        return 1
    except Exception as error:
        if not _is_for_memory(error):
            raise
        _say(failed=NO_MEMORY, kind="PhotoTooLarge")
        return 1
    return 0


def _is_for_memory(error: Exception) -> bool:
    """Return whether memory has run out; OpenCV says so with an error of its own."""
    return isinstance(error, MemoryError) or "Insufficient memory" in str(error)


def _say(**words: Any) -> None:
    print(json.dumps(words), flush=True)  # noqa: T201 - this is how the page hears of it


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="etchweb.workers.process")
    parser.add_argument("verb", choices=VERBS)
    parser.add_argument("folder", type=Path)
    return parser


if __name__ == "__main__":
    sys.exit(main())
