"""About how long a picture takes to etch in each way of making dots, by a sample of its rows."""

from io import BytesIO
from typing import Final

import numpy as np

from etchpath.errors import EtchpathError
from etchpath.writer.dots import Order, write_job
from etchphoto.dots.heats import ROUGH_HEATS
from etchphoto.halftone import Coverage
from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import dots_of

_BANDS: Final = 4
_BAND_ROWS: Final = 24  # long enough for a halftone to find its pattern


def etching_s(wanted: Coverage, order: PhotoOrder) -> float:
    """Return about how long the order's dots of these wanted shares take, in seconds.

    `wanted` is the share of each dot that shall look burnt, shape (rows, columns).
    """
    sample = _some_rows(wanted)
    bits = dots_of(order.tone_curve.apply(sample), order, heats=ROUGH_HEATS)
    job = Order(
        title="",
        head=order.head,
        recipe=order.recipe,
        halftone=order.halftone,
        is_both_directions=order.is_both_directions,
    )
    try:
        sampled_s = write_job(bits, BytesIO(), job).predicted_s
    except EtchpathError:  # nothing is burnt, or it does not fit, which is told elsewhere
        return 0.0
    return sampled_s * len(wanted) / len(sample)


def _some_rows(wanted: Coverage) -> Coverage:
    if len(wanted) <= _BANDS * _BAND_ROWS:
        return wanted
    firsts = np.linspace(0, len(wanted) - _BAND_ROWS, _BANDS).round().astype(int)
    return np.concatenate([wanted[first : first + _BAND_ROWS] for first in firsts])
