"""Jigs as a machine keeps them: pockets that hold tiles on its bed.

What can be etched in one, and where each tile lies, is geometry: `etchphoto.layout.jig`.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from etchwire.catalogue.records import LARGEST_TILE_MM, require_name, require_one_of
from etchwire.errors import UnreadableSheet
from etchwire.plain import Plain, require_positive, require_types

MOST_POCKETS: Final = 400


class Side(StrEnum):
    """Where smoke is drawn off."""

    LEFT = "left"
    RIGHT = "right"
    FRONT = "front"
    BACK = "back"


@dataclass(frozen=True, slots=True, kw_only=True)
class JigRecord(Plain):
    """A jig: its pockets, and where the head stood over two of its corners, from the origin.

    The laser is in focus over tiles `tile_mm` thick, give or take half of `focus_depth_mm`; 0: not
    known.
    """

    name: str
    columns: int
    rows: int
    pitch_x_mm: float
    pitch_y_mm: float
    width_mm: float
    height_mm: float
    lower_left_x_mm: float
    lower_left_y_mm: float
    upper_right_x_mm: float
    upper_right_y_mm: float
    exhaust: str = "back"
    tile_mm: float = 0.0
    focus_depth_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no jig; raise UnreadableSheet."""
        require_types("the jig", self)
        require_name("jig", self.name)
        require_one_of("where smoke is drawn off", self.exhaust, tuple(Side))
        if not (self.columns >= 1 and self.rows >= 1 and self.columns * self.rows <= MOST_POCKETS):
            raise UnreadableSheet(f"a jig has 1 to {MOST_POCKETS} pockets, in columns and rows")
        for name in ("pitch_x_mm", "pitch_y_mm", "width_mm", "height_mm"):
            require_positive(f"the jig's {name}", getattr(self, name))
        for name in ("tile_mm", "focus_depth_mm"):
            if not 0 <= getattr(self, name) <= LARGEST_TILE_MM:
                raise UnreadableSheet(f"the jig's {name} must be from 0 to {LARGEST_TILE_MM:g}")
