"""The log of the guard's own failures, one traceback a minute at most."""

import logging
from math import inf
from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds

LOG_FAILURE_EVERY_S: Final = 60.0

_log = logging.getLogger("etchdaemon.guard")


class FailureLog:
    """Counts the failures that it leaves out.

    A traceback at each of a hundred looks a second would fill the storage and delay the loop.
    """

    def __init__(self) -> None:
        self._logged_at_s = -inf
        self._left_out = 0

    def note(self, now_s: WallSeconds) -> None:
        """Log the exception that is being handled, or count it."""
        if now_s - self._logged_at_s < LOG_FAILURE_EVERY_S:
            self._left_out += 1
            return
        _log.exception("The guard has failed; %d times before, unlogged.", self._left_out)
        self._logged_at_s, self._left_out = now_s, 0
