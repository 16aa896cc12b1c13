"""From a register card to the head's register: how late the beam is, how loose the axis.

At speed v rows to the right and rows to the left land 2 v lag + slack apart. Two speeds give two
such lengths, and so both figures.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from etchproof.card import REGISTER, Card
from etchproof.errors import NoRegister
from etchproof.reading.values import HairlineShift, Reading
from etchwire.catalogue.heads import SECONDS_PER_MINUTE, Register

LEAST_PAIRS: Final = 4  # of each speed
MOST_SCATTER_MM: Final = 0.05  # pairs of one speed differ by a hundredth when all is well
BY_EYE_DOUBT: Final = 0.25  # of a step: an eye tells whole pairs and halves
LEAST_SCATTER_MM: Final = 0.001  # no camera places a line better
NINE_IN_TEN: Final = 1.645  # of a normal distribution's standard deviations ...
FEW_PAIRS: Final = 3.0  # ... and more where the scatter itself is known from few: 1 + 3 / pairs


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """How far the two directions land apart at one speed.

    Nine times in ten the truth lies no further than `doubt_mm` from it.
    """

    feed_mm_per_min: float
    apart_mm: float
    doubt_mm: float
    pairs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterReading:
    """Both corrections, and what they were worked out from."""

    register: Register
    at_speeds: tuple[Apart, ...]


def register_by_camera(reading: Reading) -> RegisterReading:
    """Return the register that a photographed card shows; raise NoRegister where it shows none."""
    if reading.kind != REGISTER:
        raise NoRegister(f"card {reading.card_number} is no register card")
    by_feed: dict[float, list[HairlineShift]] = {}
    for shift in reading.hairlines:
        by_feed.setdefault(shift.feed_mm_per_min, []).append(shift)
    return _from_speeds([_apart(shifts) for shifts in by_feed.values()])


def register_by_eye(card: Card, meeting: Mapping[float, float]) -> RegisterReading:
    """Return the register from the pair that looks like one line at each speed.

    `meeting` gives the pair's number by the speed asked for, in mm/min; 6.5 is between the sixth
    and the seventh. Raise NoRegister for a speed or pair the card does not have.
    """
    speeds = []
    for feed, number in meeting.items():
        pairs = [pair for pair in card.hairlines if pair.feed_mm_per_min == feed]
        if not pairs:
            raise NoRegister(f"card {card.number} has no hairlines at {feed:g} mm/min")
        if not 1 <= number <= len(pairs):
            raise NoRegister(
                f"the pairs at {feed:g} mm/min are numbered 1 to {len(pairs)}, not {number:g}: if "
                "none of them is one line, burn a card with a wider range"
            )
        offsets = [pair.offset_mm for pair in pairs]
        numbers = [pair.number for pair in pairs]
        speeds.append(
            Apart(
                feed_mm_per_min=pairs[0].true_feed_mm_per_min,
                apart_mm=float(np.interp(number, numbers, offsets)),
                doubt_mm=BY_EYE_DOUBT * abs(offsets[1] - offsets[0]),
                pairs=1,
            )
        )
    return _from_speeds(speeds)


def _apart(shifts: Sequence[HairlineShift]) -> Apart:
    apart = np.array([shift.apart_mm for shift in shifts])
    feed = shifts[0]
    if len(apart) < LEAST_PAIRS:
        raise NoRegister(
            f"only {len(apart)} pairs of hairlines at {feed.feed_mm_per_min:g} mm/min can be seen: "
            "go nearer, or burn the card with more power"
        )
    middle = float(np.median(apart))
    scatter = float(np.subtract(*np.percentile(apart, (75, 25)))) / 1.349  # as a sigma
    if scatter > MOST_SCATTER_MM:
        raise NoRegister(
            f"the pairs at {feed.feed_mm_per_min:g} mm/min disagree by {scatter:.2f} mm: the tile "
            "may have moved, or the axis slips; burn the card again"
        )
    of_median = max(scatter, LEAST_SCATTER_MM) * 1.2533 / np.sqrt(len(apart))
    return Apart(
        feed_mm_per_min=feed.true_feed_mm_per_min,
        apart_mm=middle,
        doubt_mm=float(of_median * NINE_IN_TEN * (1 + FEW_PAIRS / len(apart))),
        pairs=len(apart),
    )


def _from_speeds(speeds: Sequence[Apart]) -> RegisterReading:
    if len(speeds) != 2 or speeds[0].feed_mm_per_min == speeds[1].feed_mm_per_min:
        raise NoRegister("lag and slack can only be told apart with both speeds of the card read")
    low, high = sorted(speeds, key=lambda apart: apart.feed_mm_per_min)
    span_mm_per_s = (high.feed_mm_per_min - low.feed_mm_per_min) / SECONDS_PER_MINUTE
    lag_s = (high.apart_mm - low.apart_mm) / (2 * span_mm_per_s)
    slack_mm = low.apart_mm - 2 * low.feed_mm_per_min / SECONDS_PER_MINUTE * lag_s
    register = Register(beam_lag_s=round(lag_s, 7), slack_mm=round(slack_mm, 4), is_measured=True)
    return RegisterReading(register=register, at_speeds=(low, high))
