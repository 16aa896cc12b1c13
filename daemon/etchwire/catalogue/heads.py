"""What etches and how: the head, and the recipe that suits it on one surface."""

from dataclasses import dataclass, field, fields
from typing import Final

from etchwire.controller.profile import EIGHT_BIT, ControllerProfile
from etchwire.errors import UnreadableSheet
from etchwire.plain import Plain, require_positive, require_types

SECONDS_PER_MINUTE = 60.0
USUAL_SPACING_MM: Final = 0.1  # common practice, no source
ASSUMED_SPOT_MM: Final = USUAL_SPACING_MM  # of a laser whose spot nobody has stated yet
# More than any surface needs (common practice, no source); it is burnt only on purpose.
MOST_DOSE_J_PER_MM2: Final = 10.0
DOSE_ROUNDING: Final = 1.01  # figures that end at the limit are written in three digits
_EITHER_SIDE: Final = ("pointer_x_mm", "pointer_y_mm")  # of nought: an offset, no size


@dataclass(frozen=True, slots=True, kw_only=True)
class Register(Plain):
    """Why rows burnt in opposite directions do not meet, as measured on a register card.

    A row burnt at `v` lands `v * beam_lag_s + slack_mm / 2` further along its own direction
    than it was told to; the writer starts it that much earlier.
    """

    beam_lag_s: float = 0.0
    slack_mm: float = 0.0
    is_measured: bool = False

    def __post_init__(self) -> None:
        """Refuse a figure that moves no row by a known length."""
        require_types("the register", self)

    def lead_mm(self, feed_mm_per_min: float) -> float:
        """Return how far ahead of its place a row at this feed has to start, in mm."""
        return feed_mm_per_min / SECONDS_PER_MINUTE * self.beam_lag_s + self.slack_mm / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSpot(Plain):
    """The spot as a focus card showed it, at half of its peak; nine in ten lie within the last."""

    spot_x_mm: float
    spot_y_mm: float
    give_or_take_mm: float

    def __post_init__(self) -> None:
        """Refuse what is no size."""
        require_types("the measured spot", self)
        for name in ("spot_x_mm", "spot_y_mm", "give_or_take_mm"):
            require_positive(f"the measured spot's {name}", getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotFound(Plain):
    """When a laser's spot was measured, by which reading, and how sure it is."""

    reading: int
    at_utc: str
    give_or_take_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Head(Plain):
    """A laser module on a machine.

    `pointer_x_mm` and `pointer_y_mm` are where its pointer shines, seen from the beam's place.
    `is_spot_stated` is false where the spot is assumed, and None in records older than that entry.
    """

    name: str
    rated_optical_w: float
    spot_x_mm: float
    spot_y_mm: float
    is_spot_measured: bool
    max_s: float
    max_feed_mm_per_min: float
    acceleration_mm_per_s2: float
    travel_x_mm: float
    travel_y_mm: float
    register: Register = field(default_factory=Register)
    pointer_x_mm: float = 0.0
    pointer_y_mm: float = 0.0
    controller: ControllerProfile = EIGHT_BIT
    is_spot_stated: bool | None = None

    def __post_init__(self) -> None:
        """Refuse an entry that is not what it should be: a figure above zero, a text, a yes."""
        for entry in fields(self):
            value = getattr(self, entry.name)
            if entry.name in _EITHER_SIDE:
                continue
            if entry.type is float:
                require_positive(f"the head's {entry.name}", value)
            elif not isinstance(value, entry.type):  # type: ignore[arg-type]
                raise UnreadableSheet(f"the head's {entry.name} cannot be {value!r}")
        require_types("the head", self)

    @property
    def spot_mm(self) -> float:
        """The spot's extent across the rows, which the line spacing must not undercut."""
        return self.spot_y_mm

    @property
    def is_spot_unknown(self) -> bool:
        """Whether nobody has stated or measured the spot: then it is taken as ASSUMED_SPOT_MM."""
        if self.is_spot_measured:
            return False
        if self.is_spot_stated is None:  # an older record has no more than the size assumed
            return self.spot_x_mm == self.spot_y_mm == ASSUMED_SPOT_MM
        return not self.is_spot_stated

    @property
    def usual_spacing_mm(self) -> float:
        """The line spacing to begin with: no finer than a spot that was measured."""
        return max(USUAL_SPACING_MM, self.spot_mm) if self.is_spot_measured else USUAL_SPACING_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe(Plain):
    """Speed, power and spacing that suit one head on one surface."""

    surface: str
    feed_mm_per_min: float
    power_ratio: float
    line_spacing_mm: float
    air_assist: bool = False

    def __post_init__(self) -> None:
        """Refuse figures that no laser can run, naming the one at fault."""
        require_types("the recipe", self)
        require_positive("speed", self.feed_mm_per_min)
        require_positive("power", self.power_ratio)
        require_positive("line spacing", self.line_spacing_mm)
        if self.power_ratio > 1:
            raise UnreadableSheet(
                f"power {self.power_ratio * 100:g} % is more than the laser has; 100 % is all of it"
            )

    def power_w(self, head: Head) -> float:
        """Return the optical power asked for, in watts."""
        return head.rated_optical_w * self.power_ratio

    def dose_j_per_mm2(self, head: Head) -> float:
        """Return the energy one pass puts on each square millimetre, in J/mm².

        A beam of P watts crossing one millimetre takes 60 / feed seconds; the energy it leaves
        there is spread over one line's width.
        """
        return dose_j_per_mm2(
            power_w=self.power_w(head),
            feed_mm_per_min=self.feed_mm_per_min,
            line_spacing_mm=self.line_spacing_mm,
        )


def is_high_dose(j_per_mm2: float) -> bool:
    """Return whether so much goes beyond what any surface is known to need."""
    return j_per_mm2 > MOST_DOSE_J_PER_MM2 * DOSE_ROUNDING


def dose_j_per_mm2(*, power_w: float, feed_mm_per_min: float, line_spacing_mm: float) -> float:
    """Return P / (v h): the usual area dose of a raster, in J/mm²."""
    return power_w * SECONDS_PER_MINUTE / (feed_mm_per_min * line_spacing_mm)
