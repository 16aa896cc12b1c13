"""The laser's diode, which may lose power with the hours it has shone."""

import numpy as np

from etchpractice.motion.track import Strokes

_HOUR_S = 3600.0


class Diode:
    """Counts the hours of beam and dims by `fade_per_h` of the full power for each."""

    def __init__(self, fade_per_h: float = 0.0) -> None:
        self._fade_per_h = fade_per_h
        self._shone_s = 0.0

    def faded(self, strokes: Strokes) -> Strokes:
        """Return the strokes as bright as the diode still is; they come in order of time."""
        if not self._fade_per_h:
            return strokes
        shone_s = self._shone_s + np.cumsum(np.where(strokes.level > 0, strokes.lasts_s, 0.0))
        if shone_s.size:
            self._shone_s = float(shone_s[-1])
        left = np.maximum(0.0, 1 - self._fade_per_h * shone_s / _HOUR_S)
        return strokes._replace(level=strokes.level * left)
