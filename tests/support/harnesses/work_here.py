"""Work on pictures done in the process of the test, which has loaded what a child would load.

Two thirds of a second of processor time go into loading, for each child; the work on a photo of a
test takes less. What a process of its own adds (limits, the end by a signal, giving up) is tried
with real children.
"""

import io
import json
from contextlib import closing
from functools import partial

from etchweb.workers.process import do_verb
from etchweb.workers.work import LONG_WORKER, WORKER, WorkQueue
from etchwire.children.child_process import launch
from etchwire.children.child_program import answer


class _Request(io.BytesIO):
    """What a child reads on its standard input."""

    request = None

    def close(self):
        if not self.closed:
            self.request = json.loads(self.getvalue())["request"]
        super().close()


class _WorkHere:
    """What is used of a started child; the work is done when its answer is read."""

    pid = None

    def __init__(self, do):
        self._do = do
        self._code = None
        self.stdin = _Request()
        self.stdout = closing(self._answer())

    def _answer(self):
        lines = []
        self._code = answer(self._do, self.stdin.request, lines.append)
        yield from (line.encode() for line in lines)

    def wait(self):
        return self._code

    def kill(self):
        """Do nothing: the work goes on to its end."""


def work_here(program, do=do_verb):
    """Start `program`: a process of its own for whatever is not one of the page's workers."""
    return _WorkHere(do) if program in (WORKER, LONG_WORKER) else launch(program)


def queue_here(do=do_verb):
    return WorkQueue(launch=partial(work_here, do=do))
