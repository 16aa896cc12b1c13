"""The heavy work on one draft, in a process of its own: the page never loads numpy or Pillow.

Request: `verb`, one of VERBS, and `folder`, which holds what the verb works on and takes what it
makes. No result but the files.
"""

import sys
from importlib import import_module
from pathlib import Path
from types import MappingProxyType
from typing import Final

from etchweb.workers.work import CARD_FAULT, NO_MEMORY, WORKER
from etchwire.children.child_program import OnShare, Request, WorkFailed, serve

VERBS: Final = MappingProxyType({  # where each is done; imported only then
    "take": ("etchweb.drafts.making", "take_picture"),
    "try": ("etchweb.drafts.making", "try_picture"),
    "make": ("etchweb.drafts.making", "make_picture"),
    "mural": ("etchweb.drafts.mural_making", "make_mural"),
    "draw": ("etchweb.designs.making", "draw_design"),
    "bench": ("etchweb.bench.making", "make_bench"),
    "compare": ("etchweb.catalogue.white_making", "compare_tiles"),
    "card": ("etchweb.cards.making", "make_card"),
    "read": ("etchweb.cards.making", "read_card_photos"),
})  # fmt: skip


def do_verb(request: Request, on_share: OnShare) -> None:
    """Do what `request` names; raise WorkFailed."""
    from etchphoto.errors import EtchphotoError  # noqa: PLC0415 - heavy: only once limits hold
    from etchproof.errors import EtchproofError  # noqa: PLC0415
    from etchwire.storing import fault_of_card  # noqa: PLC0415

    module, name = VERBS[request["verb"]]
    try:
        getattr(import_module(module), name)(Path(request["folder"]), on_share)
    except (EtchphotoError, EtchproofError, OSError) as error:
        reason = fault_of_card(error)
        if reason is not None:
            raise WorkFailed(f"The picture could not be saved: {reason}", CARD_FAULT) from error
        if isinstance(error, EtchphotoError | EtchproofError):
            raise WorkFailed(str(error), type(error).__name__) from error
        raise
    except Exception as error:
        if not _is_for_memory(error):
            raise
        raise WorkFailed(NO_MEMORY, "PhotoTooLarge") from error


def _is_for_memory(error: Exception) -> bool:
    """Return whether memory has run out; OpenCV says so with an error of its own."""
    return isinstance(error, MemoryError) or "Insufficient memory" in str(error)


if __name__ == "__main__":
    sys.exit(serve(WORKER, do_verb))
