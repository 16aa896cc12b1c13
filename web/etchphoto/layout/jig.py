"""A jig: pockets that hold tiles on the bed, found by moving the head to two of its corners."""

import math
from dataclasses import asdict, dataclass, fields
from typing import Final, Self

from etchphoto.errors import UnfitDesign
from etchphoto.layout.design import LARGEST_MM
from etchwire.bed import Bed
from etchwire.catalogue.heads import Head
from etchwire.catalogue.jigs import MOST_POCKETS, JigRecord, Side

MOST_OFF_MM: Final = 1.0  # between the measured corners and the drawing: a place was mistaken
# A tile lies square to the head's way, not to the jig's: so much its edge may run out of true.
MOST_ASKEW_MM: Final = 0.3
SMALLEST_DEPTH_MM: Final = 0.2  # taken for the depth of focus that nobody measured: our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Pockets:
    """`columns` by `rows` pockets of one size; pitches are from pocket to pocket."""

    columns: int
    rows: int
    pitch_x_mm: float
    pitch_y_mm: float
    width_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        """Refuse pockets that overlap or that are none."""
        if not (self.columns >= 1 and self.rows >= 1 and self.columns * self.rows <= MOST_POCKETS):
            raise UnfitDesign(f"a jig has 1 to {MOST_POCKETS} pockets, in columns and rows")
        sizes = (
            ("column", self.columns, self.pitch_x_mm, self.width_mm),
            ("row", self.rows, self.pitch_y_mm, self.height_mm),
        )
        for word, count, pitch_mm, size_mm in sizes:
            if not (0 < size_mm <= LARGEST_MM and 0 < pitch_mm <= LARGEST_MM):
                raise UnfitDesign(f"pockets and pitches are 0 to {LARGEST_MM:g} mm large")
            if count > 1 and pitch_mm < size_mm:
                raise UnfitDesign(
                    f"the pockets overlap: from {word} to {word} it is {pitch_mm:g} mm, and a "
                    f"pocket is {size_mm:g} mm"
                )

    @property
    def extent_mm(self) -> tuple[float, float]:
        """From the first pocket's lower left corner to the last one's upper right, x and y."""
        return (
            (self.columns - 1) * self.pitch_x_mm + self.width_mm,
            (self.rows - 1) * self.pitch_y_mm + self.height_mm,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Corners:
    """Where the head stood over two corners: x and y from the origin, in millimetres.

    The lower left one is that of the first pocket, the upper right one that of the last.
    """

    lower_left_mm: tuple[float, float]
    upper_right_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pocket:
    """One pocket: its number, and its middle on the bed."""

    number: int
    column: int
    row: int
    middle_mm: tuple[float, float]

    def corner_mm(self, width_mm: float, height_mm: float) -> tuple[float, float]:
        """Return the lower left corner of a tile of this size that lies in its middle."""
        x_mm, y_mm = self.middle_mm
        return x_mm - width_mm / 2, y_mm - height_mm / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Jig:
    """Pockets, where their corners were measured, and on which side smoke is drawn off.

    The laser stands in focus over tiles `tile_mm` thick (0: nobody said), give or take half of
    `focus_depth_mm`, as a focus card measures it (0: not measured).

    Raise UnfitDesign for corners that are not those of such a jig, and for one laid askew.
    """

    name: str
    pockets: Pockets
    corners: Corners
    exhaust: Side = Side.BACK
    tile_mm: float = 0.0
    focus_depth_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a jig that does not lie as it was drawn."""
        if not (0 <= self.tile_mm <= LARGEST_MM and 0 <= self.focus_depth_mm <= LARGEST_MM):
            raise UnfitDesign(f"thickness and depth of focus are 0 to {LARGEST_MM:g} mm")
        drawn_mm = math.hypot(*self.pockets.extent_mm)
        measured_mm = math.dist(self.corners.lower_left_mm, self.corners.upper_right_mm)
        if not abs(measured_mm - drawn_mm) <= MOST_OFF_MM:
            raise UnfitDesign(
                f"the two corners lie {measured_mm:.1f} mm apart, and those of such a jig "
                f"{drawn_mm:.1f} mm: measure them again, the first pocket's lower left one and the "
                "last one's upper right"
            )
        askew_mm = max(self.pockets.width_mm, self.pockets.height_mm) * abs(math.sin(self.angle))
        if askew_mm > MOST_ASKEW_MM:
            raise UnfitDesign(
                f"the jig lies askew by {math.degrees(self.angle):.2f}°, and a tile's edge would "
                f"run {askew_mm:.1f} mm out of true: turn it square and measure again"
            )

    @classmethod
    def of_record(cls, record: JigRecord) -> Self:
        """Return the jig that a machine has kept; raise UnfitDesign."""
        table = record.to_table()
        return cls(
            name=record.name,
            pockets=Pockets(**{entry.name: table[entry.name] for entry in fields(Pockets)}),  # type: ignore[arg-type]
            corners=Corners(
                lower_left_mm=(record.lower_left_x_mm, record.lower_left_y_mm),
                upper_right_mm=(record.upper_right_x_mm, record.upper_right_y_mm),
            ),
            exhaust=Side(record.exhaust),
            tile_mm=record.tile_mm,
            focus_depth_mm=record.focus_depth_mm,
        )

    @property
    def record(self) -> JigRecord:
        """What a machine keeps of it."""
        (left, bottom), (right, top) = self.corners.lower_left_mm, self.corners.upper_right_mm
        return JigRecord(
            name=self.name,
            **asdict(self.pockets),
            lower_left_x_mm=left,
            lower_left_y_mm=bottom,
            upper_right_x_mm=right,
            upper_right_y_mm=top,
            exhaust=self.exhaust.value,
            tile_mm=self.tile_mm,
            focus_depth_mm=self.focus_depth_mm,
        )

    @property
    def angle(self) -> float:
        """How far the jig is turned counter-clockwise, in radians."""
        width_mm, height_mm = self.pockets.extent_mm
        (left, bottom), (right, top) = self.corners.lower_left_mm, self.corners.upper_right_mm
        return math.atan2(top - bottom, right - left) - math.atan2(height_mm, width_mm)

    def places(self) -> tuple[Pocket, ...]:
        """Return the pockets by number, from 1, row by row from the lower left."""
        left, bottom = self.corners.lower_left_mm
        cos, sin = math.cos(self.angle), math.sin(self.angle)
        found = []
        for row in range(self.pockets.rows):
            for column in range(self.pockets.columns):
                along = column * self.pockets.pitch_x_mm + self.pockets.width_mm / 2
                up = row * self.pockets.pitch_y_mm + self.pockets.height_mm / 2
                middle_mm = (left + along * cos - up * sin, bottom + along * sin + up * cos)
                number = row * self.pockets.columns + column + 1
                found.append(Pocket(number=number, column=column, row=row, middle_mm=middle_mm))
        return tuple(found)

    def in_order(self) -> tuple[Pocket, ...]:
        """Return the pockets as they are etched: those at the exhaust first.

        Smoke then crosses tiles that are done, not coats that still wait.
        """
        return tuple(sorted(self.places(), key=self._away_from_exhaust))

    def _away_from_exhaust(self, pocket: Pocket) -> tuple[int, int]:
        row, column = pocket.row, pocket.column
        return {
            Side.LEFT: (column, row),
            Side.RIGHT: (-column, row),
            Side.FRONT: (row, column),
            Side.BACK: (-row, column),
        }[self.exhaust]

    def require_on_bed(self, head: Head) -> None:
        """Raise UnfitDesign where the pockets take more room than the head can move.

        Whether it can go just there is known at the machine, when a job is to be armed.
        """
        width_mm, height_mm = self.pockets.extent_mm
        if width_mm > head.travel_x_mm or height_mm > head.travel_y_mm:
            raise UnfitDesign(
                f"the jig's pockets take {width_mm:g} × {height_mm:g} mm, but {head.name} moves "
                f"only {head.travel_x_mm:g} × {head.travel_y_mm:g} mm"
            )

    def require_within(self, bed: Bed) -> None:
        """Raise UnfitDesign where a pocket lies outside the travel, as seen from the origin."""
        wide_mm, high_mm = self.pockets.width_mm / 2, self.pockets.height_mm / 2
        for pocket in self.places():
            x_mm, y_mm = pocket.middle_mm
            ends = ((x_mm - wide_mm, y_mm - high_mm), (x_mm + wide_mm, y_mm + high_mm))
            if any(bed.is_outside(*end) for end in ends):
                raise UnfitDesign(
                    f"pocket {pocket.number} lies outside the bed: the head goes from x "
                    f"{bed.reach.left_mm:z.1f} to {bed.reach.right_mm:z.1f} mm and from y "
                    f"{bed.reach.bottom_mm:z.1f} to {bed.reach.top_mm:z.1f} mm, seen from the "
                    "origin"
                )

    def require_in_focus(self, pocket: int, *, thickness_mm: float, warp_mm: float) -> None:
        """Raise UnfitDesign for a tile that lies out of focus: thicker, thinner or warped.

        What is 0 was not measured, and is not judged.
        """
        depth_mm = self.focus_depth_mm or SMALLEST_DEPTH_MM
        if warp_mm > depth_mm:
            raise UnfitDesign(
                f"the tile of pocket {pocket} is warped by {warp_mm:g} mm, and the laser is in "
                f"focus over {depth_mm:g} mm: leave the pocket empty, or take another tile"
            )
        off_mm = abs(thickness_mm - self.tile_mm)
        if thickness_mm and self.tile_mm and off_mm > depth_mm / 2:
            raise UnfitDesign(
                f"the tile of pocket {pocket} is {thickness_mm:g} mm thick, and {self.name} is for "
                f"{self.tile_mm:g} mm: is the laser in focus on it? Focus anew and say the jig's "
                "tile anew, or take another tile"
            )

    def require_fits(self, width_mm: float, height_mm: float) -> None:
        """Raise UnfitDesign for a tile that no pocket takes."""
        if not (0 < width_mm <= self.pockets.width_mm and 0 < height_mm <= self.pockets.height_mm):
            raise UnfitDesign(
                f"a tile of {width_mm:g} × {height_mm:g} mm does not lie in a pocket of "
                f"{self.pockets.width_mm:g} × {self.pockets.height_mm:g} mm"
            )
