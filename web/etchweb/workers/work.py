"""Work on drafts under way: one child process at a time, and how far each has come."""

import logging
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from etchwire.children.child_process import Cause, ChildFailed, ChildProcess, Launch, launch
from etchwire.children.child_program import ChildProgram

WORKER: Final = ChildProgram(  # the deadline is for a large photo on a small board
    module="etchweb.workers.process", memory_mb=250, deadline_s=600.0
)
# A mural whose dots are searched for: 100 million dots on a small board, and to spare.
LONG_WORKER: Final = ChildProgram(
    module="etchweb.workers.long_process", memory_mb=250, deadline_s=8 * 3600.0
)
LONG_VERBS: Final = frozenset(("mural",))
MOST_WAITING: Final = 3
CARD_FAULT: Final = "CardFault"  # the kind of failure that is the memory card's
WENT_WRONG: Final = (
    "This picture could not be worked out; the reason is in the page's log. Try another photo, "
    "or a smaller tile"
)
NO_MEMORY: Final = (
    "This needs more memory than the box has: make the tile smaller, or take a smaller photo"
)
NO_END: Final = "This takes too long to work out. Try a smaller photo"

_SENTENCES: Final = {
    Cause.OUT_OF_MEMORY: NO_MEMORY,
    Cause.DEADLINE_PASSED: NO_END,
    Cause.BROKE: WENT_WRONG,
}

_log = logging.getLogger(__name__)


@dataclass(slots=True)
class WorkItem:
    """One piece of work: `verb` on a draft as `key` describes it."""

    verb: str
    key: str
    child: ChildProcess
    share: float = 0.0
    failed: str = ""  # a sentence, once it came to nothing
    failed_kind: str = ""
    is_given_up: bool = False
    over: threading.Event = field(default_factory=threading.Event)

    @property
    def failed_status(self) -> int:
        """The HTTP status that says whose doing it was: the card's, or that of what was sent."""
        return 507 if self.failed_kind == CARD_FAULT else 422

    def note_share(self, share: float) -> None:
        """Take down how much of it is done, from 0 to 1."""
        self.share = share

    def give_up(self) -> None:
        """End it: what it was to make is no longer wanted."""
        self.is_given_up = True
        self.child.cancel()


class WorkQueue:
    """The newest work of each draft; used by many threads at once.

    `launch` starts a child process; tests start another one.
    """

    def __init__(self, *, launch: Launch = launch) -> None:
        self._launch = launch
        self._works: dict[str, WorkItem] = {}
        self._lock = threading.Lock()
        self._turn = threading.Lock()  # two at once would need twice the memory
        self._waiting = threading.BoundedSemaphore(MOST_WAITING)

    def begin(self, folder: Path, verb: str, key: str) -> WorkItem:
        """Begin `verb` on the draft in `folder`, unless that is under way or was just done."""
        with self._lock:
            work = self._works.get(folder.name)
            if work is not None and (work.verb, work.key) == (verb, key) and not work.failed:
                return work
            if work is not None:
                work.give_up()
            program = LONG_WORKER if verb in LONG_VERBS else WORKER
            request = {"verb": verb, "folder": str(folder)}
            child = ChildProcess(program, request, launch=self._launch)
            work = self._works[folder.name] = WorkItem(verb, key, child)
        threading.Thread(target=self._do, args=(work,), name=f"picture {verb}", daemon=True).start()
        return work

    def wait(self, work: WorkItem, seconds: float) -> bool:
        """Wait so long for `work`, unless others wait already; return whether it is over.

        A request that waits holds one of the page's threads, and a stop must always find one.
        """
        if self._waiting.acquire(blocking=False):
            try:
                work.over.wait(seconds)
            finally:
                self._waiting.release()
        return work.over.is_set()

    def of(self, draft_id: str) -> WorkItem | None:
        """Return the newest work on a draft, under way or over."""
        with self._lock:
            return self._works.get(draft_id)

    def failed(self, draft_id: str, verb: str, key: str) -> WorkItem | None:
        """Return the newest work on a draft if it was this and came to nothing."""
        work = self.of(draft_id)
        is_it = work is not None and (work.verb, work.key) == (verb, key) and work.over.is_set()
        return work if work is not None and is_it and work.failed else None

    def forget(self, draft_id: str) -> None:
        """Give up whatever is done on a draft."""
        with self._lock:
            work = self._works.pop(draft_id, None)
        if work is not None:
            work.give_up()

    def _do(self, work: WorkItem) -> None:
        try:
            with self._turn:
                if not work.is_given_up:
                    work.child.run(work.note_share)
        except ChildFailed as failure:
            _note_failure(work, failure)
        except OSError as error:
            _log.warning("work on a picture: %s", error)
            work.failed = WENT_WRONG
        finally:
            work.over.set()


def _note_failure(work: WorkItem, failure: ChildFailed) -> None:
    if failure.cause is Cause.CANCELLED:
        return
    if failure.cause is Cause.FAILED:
        work.failed, work.failed_kind = failure.sentence, failure.kind
        return
    # A traceback came before, on the same stream; the end by a signal would be silent.
    _log.warning("work on a picture (%s) ended with %d", work.verb, failure.code)
    work.failed = _SENTENCES[failure.cause]
