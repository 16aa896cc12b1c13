"""The same work as `process` does, with hours to do it in: murals whose dots are searched for."""

import sys

from etchweb.workers.process import do_verb
from etchweb.workers.work import LONG_WORKER
from etchwire.children.child_program import serve

if __name__ == "__main__":
    sys.exit(serve(LONG_WORKER, do_verb))
