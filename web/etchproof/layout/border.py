"""The border that every card has: bare margin, a marker in each corner, lines of text between."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from etchproof.card import Area, Label, Marker
from etchproof.errors import CardDoesNotFit
from etchproof.layout.alphabet import can_write
from etchproof.layout.drawing import PEN_MM, TEXT_MM, label_dots
from etchproof.layout.markers import CORNERS, MODULES, code_of

MARGIN_MM: Final = 2.0  # bare tile around everything: markers need it, patches are read against it
BAND_GAP_MM: Final = 2.0  # between the marker bands and what they enclose
LINE_GAP_MM: Final = 0.9
LABEL_MM: Final = TEXT_MM + PEN_MM
OVER_HEADING_MM: Final = 1.2
HEADING_MM: Final = OVER_HEADING_MM + LABEL_MM + LINE_GAP_MM  # over a row of patches
TITLE_LETTERS: Final = 16  # what a usual card has room for


@dataclass(frozen=True, slots=True)
class Place:
    """The part of the tile that a card may cover."""

    width_mm: float
    height_mm: float

    def holds(self, width_mm: float, height_mm: float) -> bool:
        """Return whether so large a card fits."""
        return width_mm <= self.width_mm + 1e-6 and height_mm <= self.height_mm + 1e-6

    def too_small(self, width_mm: float, height_mm: float, advice: str) -> CardDoesNotFit:
        """Return the refusal of a card so large, with `advice`."""
        return CardDoesNotFit(
            f"the card is {width_mm:.1f} × {height_mm:.1f} mm, but its place on the tile is only "
            f"{self.width_mm:g} × {self.height_mm:g} mm: {advice}"
        )


@dataclass(frozen=True, slots=True)
class Border:
    """Markers and text round a box of `content`; all in dots."""

    rows: int
    columns: int
    content: Area
    markers: tuple[Marker, ...]
    labels: tuple[Label, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Titles:
    """The lines of text between the upper two markers and between the lower two."""

    upper: Sequence[str]
    lower: Sequence[str]


def dots(mm: float, spacing_mm: float) -> int:
    """Return how many dots come nearest to `mm`."""
    return round(mm / spacing_mm)


def lay_out_border(
    content_dots: tuple[int, int],
    *,
    number: int,
    titles: Titles,
    marker_mm: float,
    spacing_mm: float,
) -> Border:
    """Return the border round content of (rows, columns); the content lies in the middle."""
    module = max(1, dots(marker_mm / MODULES, spacing_mm))
    side, quiet = MODULES * module, 2 * module
    margin, gap = dots(MARGIN_MM, spacing_mm), dots(BAND_GAP_MM, spacing_mm)
    written = [can_write(line) for line in (*titles.upper, *titles.lower)]
    widest = max((len(label_dots(line, spacing_mm)[0]) for line in written if line), default=0)
    inner = max(content_dots[1], 2 * side + 2 * quiet + widest)
    columns, rows = inner + 2 * margin, content_dots[0] + 2 * (margin + side + gap)
    left = margin + (inner - content_dots[1]) // 2
    top = margin + side + gap
    content = Area(top, left, top + content_dots[0], left + content_dots[1])
    text_left = margin + side + quiet
    labels = (
        *text_lines(titles.upper, (margin, text_left), spacing_mm),
        *text_lines(titles.lower, (rows - margin - side, text_left), spacing_mm),
    )
    return Border(
        rows, columns, content, corner_markers(number, (rows, columns), spacing_mm, module), labels
    )


def corner_markers(
    number: int, size_dots: tuple[int, int], spacing_mm: float, module: int
) -> tuple[Marker, ...]:
    """Return the markers of a card of (rows, columns), each module so many dots wide."""
    margin, side = dots(MARGIN_MM, spacing_mm), MODULES * module
    bottom, right = (size - margin - side for size in size_dots)
    corners = ((margin, margin), (margin, right), (bottom, right), (bottom, margin))
    return tuple(
        Marker(code=code_of(number, corner), corner=corner, area=Area.at(y, x, side, side))
        for corner, (y, x) in zip(range(len(CORNERS)), corners, strict=True)
    )


def title(words: str, letters: int = TITLE_LETTERS) -> str:
    """Return as many of the first words as fit between two markers."""
    text = can_write(words)
    if len(text) <= letters:
        return text
    whole, _, _ = text[: letters + 1].rpartition(" ")
    return (whole or text[:letters]).rstrip(" ,-·(")


def text_lines(
    lines: Sequence[str], top_left: tuple[int, int], spacing_mm: float
) -> tuple[Label, ...]:
    """Return lines of text one under the other."""
    top, left = top_left
    labels = []
    for line in filter(None, map(can_write, lines)):
        labels.append(label_at(line, (top, left), spacing_mm))
        top += labels[-1].area.height + dots(LINE_GAP_MM, spacing_mm)
    return tuple(labels)


def label_at(text: str, top_left: tuple[int, int], spacing_mm: float) -> Label:
    """Return a label with its upper left corner at these dots."""
    rows, columns = label_dots(text, spacing_mm).shape
    top, left = top_left
    return Label(text, Area(top, left, top + rows, left + columns))


def centred_label(text: str, top: int, middle: float, spacing_mm: float) -> Label:
    """Return a label whose middle lies at the column `middle`."""
    columns = label_dots(text, spacing_mm).shape[1]
    return label_at(text, (top, round(middle - columns / 2)), spacing_mm)
