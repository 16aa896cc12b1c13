"""When certain lines of a file begin: a watcher of a preflight for who knows the lines."""

from collections.abc import Sequence

import numpy as np

from etchpath.motion.timeline import Timed


class LineTimes:
    """Notes the predicted second at which the first move of each line wanted begins."""

    def __init__(self, lines: Sequence[int]) -> None:
        """Want the times of `lines`, which rise."""
        self._lines = np.array(lines, dtype=np.int64)
        self._at_s = np.full(len(lines), np.nan)

    def see_times(self, timed: Timed) -> None:
        """Note the times of the lines that begin among these pieces."""
        starts_s = timed.starts_s - timed.toolpath.wait_s
        places = np.searchsorted(timed.toolpath.line, self._lines)
        is_here = places < len(timed)
        is_here[is_here] = timed.toolpath.line[places[is_here]] == self._lines[is_here]
        is_new = is_here & np.isnan(self._at_s)
        self._at_s[is_new] = starts_s[places[is_new]]

    def at_s(self) -> list[float]:
        """Return the times in the order of the lines; not a number for a line without a move."""
        times: list[float] = self._at_s.tolist()
        return times
