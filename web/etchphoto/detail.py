"""Detail: how much a place differs from what lies round it, made stronger.

Local contrast looks round as far as a twenty-fourth of the picture's shorter side, sharpness to
the next dots. Both work on lightness L*, so that light and dark places gain alike, and both take
"what lies round" for three running means in a row, which come close to a bell (the central limit
theorem) and cost the same however far they reach. The page's script does the same sums.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchphoto.light import lightness, luminance_of_lightness

Floats = NDArray[np.floating[Any]]

LOCAL_SHARE: Final = 24
SHARP_RADIUS_DOTS: Final = 1
MEANS_IN_A_ROW: Final = 3
LINES_AT_ONCE: Final = 256


def with_detail(
    luminance: NDArray[np.float32], *, local_contrast: float, sharpness: float
) -> NDArray[np.float32]:
    """Return the luminance, 0 to 1, with local contrast and sharpness added; 0 adds none."""
    values = _by_rows(lightness, luminance)
    radius = max(2, round(min(values.shape) / LOCAL_SHARE))
    result = mean_around(values, radius) if local_contrast else np.empty_like(values)
    for first in range(0, len(values), LINES_AT_ONCE):
        rows = slice(first, min(first + LINES_AT_ONCE, len(values)))
        lifted = values[rows].copy()
        if local_contrast:
            lifted += local_contrast * (values[rows] - result[rows])
        if sharpness:
            lifted += sharpness * (values[rows] - _mean_near(values, rows))
        result[rows] = luminance_of_lightness(np.clip(lifted, 0, 100))
    return result


def _mean_near(values: NDArray[np.float32], rows: slice) -> NDArray[np.float32]:
    """Return what lies round the dots of some rows, having looked no further than needed."""
    reach = MEANS_IN_A_ROW * SHARP_RADIUS_DOTS
    first = max(0, rows.start - reach)
    around = mean_around(values[first : rows.stop + reach], SHARP_RADIUS_DOTS)
    return around[rows.start - first : rows.stop - first]


def mean_around(values: NDArray[np.float32], radius: int) -> NDArray[np.float32]:
    """Return three running means over 2 radius + 1 places both ways; edges go on beyond."""
    result = values.copy()
    for _ in range(MEANS_IN_A_ROW):
        _run_mean(result, radius)
        _run_mean(result.T, radius)
    return result


def _run_mean(values: NDArray[np.float32], radius: int) -> None:
    """Replace each place by the mean along its line, in place."""
    width = 2 * radius + 1
    for first in range(0, len(values), LINES_AT_ONCE):
        part = values[first : first + LINES_AT_ONCE]
        padded = np.pad(part, ((0, 0), (radius + 1, radius)), mode="edge")
        sums = np.cumsum(padded, axis=1, dtype=np.float64)
        part[:] = (sums[:, width:] - sums[:, :-width]) / width


def _by_rows(convert: Any, values: NDArray[np.float32]) -> NDArray[np.float32]:
    result = np.empty_like(values)
    for first in range(0, len(values), LINES_AT_ONCE):  # conversions are worked out in 64 bits
        rows = slice(first, first + LINES_AT_ONCE)
        result[rows] = convert(values[rows])
    return result
