"""How the page says numbers: figures a person can read at arm's length."""

import math
from collections.abc import Iterable
from typing import Final

NARROW_SPACE: Final = "\u202f"  # groups thousands and stays on one line
UNKNOWN: Final = "–"

_SECONDS_PER_MINUTE: Final = 60


def grouped(value: float) -> str:
    """Return `value` as a whole number with its thousands parted: 3 170."""
    return f"{value:,.0f}".replace(",", NARROW_SPACE)


def short_duration(seconds: float) -> str:
    """Return a time left or gone by, no finer than anyone would act on: 48 s, 12 min, 2 h 05 min.

    Whole minutes are rounded up: nobody minds being early.
    """
    if seconds < 2 * _SECONDS_PER_MINUTE:
        return f"{math.ceil(seconds)} s"
    minutes = math.ceil(seconds / _SECONDS_PER_MINUTE)
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02} min"


def times_faster(factor: float) -> str:
    """Return a speed-up as a person says it: 20 times, 2.5 times."""
    return f"{factor:g} times"


def percent(ratio: float) -> str:
    """Return a share of one as a percentage without its sign: 60."""
    return f"{ratio * 100:.0f}"


def span(low: str, high: str) -> str:
    """Return from one figure to another, or the one where they read alike: 1 000 to 6 000."""
    return low if low == high else f"{low} to {high}"


def millimetres(value: float) -> str:
    """Return a length without needless digits: 100, 0.1, 84.5."""
    return f"{value:.10g}"


def counted(number: int, one: str, many: str) -> str:
    """Return `number` with the word that fits it: 1 row, 2 rows."""
    return f"{grouped(number)} {one if number == 1 else many}"


def as_sentence(text: str, *, keeps: Iterable[str] = ()) -> str:
    """Return `text` with a capital and a full stop: messages of programs often have neither.

    A file's name in `keeps` with which it begins stays as it is.
    """
    if not text:
        return ""
    end = "" if text[-1] in ".!?" else "."
    first = text[0] if text.startswith(tuple(keeps)) else text[0].upper()
    return first + text[1:] + end
