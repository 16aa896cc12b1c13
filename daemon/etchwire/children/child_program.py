"""A program that does one piece of heavy work for another process: its limits and its answers.

It is started as `python -P -m MODULE` (`child_process`). On standard input it gets one JSON object,
`{"parent": PID, "request": {...}}`, to its end. On standard output it answers in lines of JSON:
`{"share": 0.4}` on the way, then `{"result": ...}` with exit code 0, or `{"failed": "a sentence",
"kind": "NotAPhoto"}` with exit code 1. A fault of ours leaves its traceback on the error stream.
"""

import json
import signal
import sys
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from etchwire.children.child_limits import die_with_parent, limit_child

FAULT_OF_OURS: Final = "fault of ours"  # the kind of a failure that nobody wrote a sentence for

Request = Mapping[str, Any]
OnShare = Callable[[float], None]
Work = Callable[[Request, OnShare], object]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChildProgram:
    """A module that is run as a child, and what it may use: no other place states these limits.

    `deadline_s` limits its time on the wall, kept by its parent, and its processor time, kept by
    the kernel.
    """

    module: str
    memory_mb: int
    deadline_s: float


# The two that the daemon starts, which may not import them. Ten million raster lines take 88 MB,
# and twenty seconds on a desk computer.
PREFLIGHT: Final = ChildProgram(
    module="etchpath.preflight.process", memory_mb=192, deadline_s=600.0
)
REMAINDER: Final = ChildProgram(module="etchpath.reentry.process", memory_mb=192, deadline_s=300.0)


class WorkFailed(Exception):
    """The work came to nothing, for a reason that is told to a person; `kind` is for programs."""

    def __init__(self, sentence: str, kind: str = "") -> None:
        super().__init__(sentence)
        self.sentence, self.kind = sentence, kind


def serve(program: ChildProgram, work: Work) -> int:
    """Be `program`: do `work` on the request that comes in, and answer; return the exit code.

    The limits hold before `work` is called, so it imports what is heavy by itself: numpy's threads
    and memory have to follow them. What it returns has to fit into JSON. It raises WorkFailed.
    """
    limit_child(memory_mb=program.memory_mb, processor_s=int(program.deadline_s))
    signal.signal(signal.SIGPIPE, signal.SIG_DFL)  # no work, and no complaint, for a dead parent
    try:
        envelope = json.loads(sys.stdin.buffer.read())
    except ValueError:  # the parent was killed while it asked, and nobody is left to be told
        return 1
    die_with_parent(envelope["parent"])
    return answer(work, envelope["request"], _say)


def answer(work: Work, request: Request, say: Callable[[str], None]) -> int:
    """Do `work` on `request`, `say` each line of the answer, and return the exit code."""

    def say_values(**values: object) -> None:
        say(json.dumps(values, allow_nan=False))

    try:
        result = work(request, lambda share: say_values(share=round(share, 3)))
    except WorkFailed as failure:
        say_values(failed=failure.sentence, kind=failure.kind)
        return 1
    except Exception as error:  # noqa: BLE001 - whatever it is, the parent hears of it
        traceback.print_exc()
        say_values(failed=f"{type(error).__name__}: {error}", kind=FAULT_OF_OURS)
        return 1
    say_values(result=result)
    return 0


def _say(line: str) -> None:
    print(line, flush=True)  # noqa: T201 - the parent reads it
