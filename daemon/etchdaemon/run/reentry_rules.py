"""Whether an etch that was cut short may be taken up again, and what is known of its end."""

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from typing import Final

from etchdaemon.run.cut import CutFound
from etchwire.calls.history import RunEvent
from etchwire.calls.machine import NextTile, RestView
from etchwire.calls.snapshot import UnfinishedView
from etchwire.record import HELD, RESUMED
from etchwire.sheet import Sheet
from etchwire.transport.json_text import JsonTable

CUT: Final = "cut"  # the kind of event that says where the beam went out,
FILE_CUT: Final = "file cut"  # the same in another program's file,
UNBEGUN: Final = "unbegun"  # and the one that says that it never burnt
ORIGIN_SHIFT: Final = "origin shift"  # the preflight's finding

BAND: Final = "The laser has cooled meanwhile: a faint band may show where it goes on."
NOTHING_MOVED: Final = "Across the rows nothing has moved."
NOT_BEGUN: Final = "It ended before its first row was begun."
WHICH_ROW: Final = (
    "In which of the two rows is not known: the head was about to turn. Look at the tile and say"
    " which is the first that is not dark."
)
AFTER_THAT: Final = (
    "What came after that was not written down: some more may be dark, and where along its row the"
    " beam went out is not known. Look at the tile."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """What bears on taking a run up again; `continued_by` is the run that etched its rest."""

    run: int
    ended: str | None
    continued_by: int | None = None
    is_under_way: bool = False  # this run or another
    is_kept: bool = True  # its job, by the daemon
    is_all_etched: bool = False
    has_lost_place: bool = False  # in another program's file
    shifts_origin: bool = False


# The first that holds speaks against it.
_AGAINST: Final[tuple[tuple[Callable[[Past], bool], str], ...]] = (
    (lambda past: past.ended is None, "Etch {run} has not ended."),
    (
        lambda past: past.ended == "complete",
        "Etch {run} is complete: nothing of it is left to etch.",
    ),
    (
        lambda past: past.is_all_etched,
        "Every row of etch {run} was etched: nothing of it is left.",
    ),
    (
        lambda past: past.continued_by is not None,
        "Etch {continued_by} has gone on with etch {run}: look there.",
    ),
    (
        lambda past: past.shifts_origin,
        "This job shifts its own origin, so where its rows lie is not known after a cut.",
    ),
    (
        lambda past: past.has_lost_place,
        "Where in this file of another program the beam went out was not seen, so it cannot be"
        " taken up again.",
    ),
    (
        lambda past: not past.is_kept,
        "The job of that etch is no longer kept here; it can only be etched anew.",
    ),
    (
        lambda past: past.is_under_way,
        "A picture is being etched; take the other up again when it has ended.",
    ),
)


def objection(past: Past) -> str | None:
    """Return why the run cannot be taken up again, or None when it can."""
    for holds, sentence in _AGAINST:
        if holds(past):
            return sentence.format(run=past.run, continued_by=past.continued_by)
    return None


@dataclass(frozen=True, slots=True)
class CutPlace:
    """Where the beam went out, in the job's coordinates, and how far off that may be.

    `is_whole`: it was off between this row and the one before, which is done.
    """

    row: int
    x_mm: float
    error_mm: float
    is_whole: bool = False


def cut_event(found: CutFound, sheet: Sheet) -> tuple[str, dict[str, object]]:
    """Return text and details of the event that says where a beam went out, some row begun."""
    if not found.cuts:
        entry = sheet.index[found.first_place]
        above = sheet.index[found.first_place - 1].row
        text = f"The beam went out between two rows: row {above + 1} was done."
        place = CutPlace(entry.row, entry.from_mm, 0.0, is_whole=True)
        return text, {**asdict(place), "y_mm": entry.y_mm}
    places = [CutPlace(sheet.index[it.place].row, it.x_mm, it.error_mm) for it in found.cuts]
    text = " or ".join(f"in row {place.row + 1}, at x {place.x_mm:z.2f} mm" for place in places)
    first, *others = map(asdict, places)
    y_mm = sheet.index[found.first_place].y_mm
    return f"The beam went out {text}.", {**first, "y_mm": y_mm, "or": others}


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """What the record says of a run's end.

    `first_row` is the first row of the picture that is not known to be dark. `either` are the
    places of which one is the cut, where the reports do not tell which. `is_at_rest`: the run
    stood still at a row's end and the beam was off, so no row below has been begun; `is_unbegun`:
    nor was any other.
    """

    cut: CutPlace | None
    first_row: int
    either: tuple[CutPlace, ...] = ()
    is_at_rest: bool = False
    is_unbegun: bool = False

    @property
    def is_row_known(self) -> bool:
        """Whether nobody has to look which row comes next."""
        return not self.either and (self.cut is not None or self.is_at_rest or self.is_unbegun)

    def cut_in(self, row: int | None) -> CutPlace | None:
        """Return the place of the cut in the row that a person has told; None told: the known."""
        if row is None:
            return self.cut
        return next((place for place in self.either if place.row == row), None)


def trace_of(events: Iterable[RunEvent], *, etched_rows: int, sheet: Sheet) -> Trace:
    """Return what `events` of a run, in their order, say of its end.

    A rest begins in the middle of its picture: what lies above its first row is dark.
    """
    places: tuple[CutPlace, ...] = ()
    is_at_rest = is_unbegun = False
    for event in events:
        if event.kind == CUT:
            details = event.details
            places = tuple(map(_cut_place, (details, *details.get("or", ()))))
        elif event.kind == UNBEGUN:
            is_unbegun = True
        elif event.kind == HELD:
            is_at_rest = True
        elif event.kind == RESUMED:
            places, is_at_rest, is_unbegun = (), False, False
    first_row = max(etched_rows, sheet.index[0].row if sheet.index else 0)
    return Trace(
        cut=places[0] if len(places) == 1 else None,
        first_row=places[0].row if places else first_row,
        either=places if len(places) > 1 else (),
        is_at_rest=is_at_rest,
        is_unbegun=is_unbegun,
    )


def _cut_place(details: JsonTable) -> CutPlace:
    row, x_mm, error_mm = (details[name] for name in ("row", "x_mm", "error_mm"))
    return CutPlace(row, x_mm, error_mm, details.get("is_whole", False))


def file_cut(events: Iterable[RunEvent]) -> JsonTable | None:
    """Return what `events` say of a cut in another program's file, None where that is nothing."""
    cut = None
    for event in events:
        if event.kind == FILE_CUT:
            cut = event.details
        elif event.kind == RESUMED:
            cut = None
    return cut


@dataclass(frozen=True, slots=True, kw_only=True)
class FileRest:
    """Where the rest of another program's job begins, and how much before it stays unburnt."""

    line: int
    gap_mm: float


def known_of_file(rest: FileRest, *, is_place_kept: bool) -> list[str]:
    """Return what is known of a cut in another program's file."""
    sentences = [f"It goes on with line {rest.line}, which is made with the beam off."]
    if rest.gap_mm > 0:
        sentences.append(
            f"Up to {rest.gap_mm:.1f} mm of the stroke that was cut stay unburnt before it."
        )
    return [*sentences, "The head has kept its place."] if is_place_kept else sentences


def unknown_of_file(*, is_place_kept: bool) -> list[str]:
    """Return what is not known of it."""
    lost = "The head's place is lost until the origin is set again: it fits as well as that is set."
    return [*([] if is_place_kept else [lost]), BAND]


def known_sentences(trace: Trace, sheet: Sheet, *, is_place_kept: bool) -> list[str]:
    """Return what is known of the end, in sentences; rows count from 1 at the top."""
    if trace.either:
        places = ", or ".join(_place_told(place, sheet) for place in trace.either)
        texts = [f"The beam went out {places}."]
    elif trace.cut is not None and trace.cut.is_whole:
        texts = [
            f"The beam went out between two rows. It goes on with row {trace.cut.row + 1}, which"
            " was not begun; all above it is done."
        ]
    elif trace.cut is not None:
        texts = [f"The beam went out {_place_told(trace.cut, sheet)}. It goes on there."]
    elif trace.is_unbegun:
        texts = ["It ended before its first row was begun: nothing of it is on the tile."]
    elif trace.is_at_rest:
        texts = [f"It was held at the end of row {trace.first_row}, and nothing came after that."]
    elif trace.first_row:
        texts = [f"Row {trace.first_row} is the last that was written down as done."]
    else:
        texts = ["No row was written down as done."]
    if (tile := sheet.place_words(trace.first_row)) and not trace.is_unbegun:
        texts.append(tile)
    return [*texts, f"The head has kept its place. {NOTHING_MOVED}"] if is_place_kept else texts


def _place_told(place: CutPlace, sheet: Sheet) -> str:
    from_left_mm = place.x_mm - left_edge_mm(place.row, sheet)
    return (
        f"in row {place.row + 1}, {from_left_mm:z.1f} mm from the picture's left edge, give or take"
        f" {place.error_mm:.2f} mm"
    )


def left_edge_mm(row: int, sheet: Sheet) -> float:
    """Return where the picture that a row belongs to begins, in the job's coordinates."""
    part = sheet.part_of_row(row)
    return (sheet.picture if part is None else part.picture).left_mm


def unknown_sentences(trace: Trace, sheet: Sheet, *, is_place_kept: bool) -> list[str]:
    """Return what is not known of the end, in sentences."""
    sentences = [] if trace.is_row_known else [WHICH_ROW if trace.either else AFTER_THAT]
    if not is_place_kept:
        sentences.append(f"The head's place is lost until the origin is set again. {across(sheet)}")
    return [*sentences, f"{BAND} Nobody can promise a seam that cannot be seen."]


def across(sheet: Sheet) -> str:
    """Return what an origin that was set again makes of the rows."""
    half_mm = sheet.recipe.line_spacing_mm / 2
    return (
        "It fits as well as the origin is set, along the rows and across them; across them expect"
        f" {half_mm:.2g} mm at best, and a line may show."
    )


def rest_from(row: int, sheet: Sheet) -> RestView | None:
    """Return what is left from `row` on, None where that is nothing.

    A row that was begun is crossed as a whole, the burnt part of it dark.
    """
    entry = next((entry for entry in sheet.index if entry.row >= row), None)
    if entry is None:
        return None
    rows = sheet.rows - entry.row
    return RestView(
        first_row=entry.row,
        rows=rows,
        width_mm=sheet.width_mm,
        height_mm=rows * sheet.recipe.line_spacing_mm,
        predicted_s=max(sheet.predicted_s - entry.at_s, 0.0),
    )


def tile_behind(row: int, sheet: Sheet) -> NextTile | None:
    """Return the tile to go on with where that of `row` is left out; None where none follows."""
    part = sheet.part_of_row(row)
    rest = None if part is None else rest_from(part.end_row, sheet)
    following = None if rest is None else sheet.part_of_row(rest.first_row)
    if part is None or rest is None or following is None:
        return None
    return NextTile(
        left_out=part.pocket, row=rest.first_row, pocket=following.pocket, title=following.title
    )


@dataclass(frozen=True, slots=True)
class LeftOver:
    """The run that ended last, while it may be taken up again."""

    run: int
    title: str
    picture_sha256: str
    rows: int
    first_row: int

    def view(self, *, is_place_kept: bool) -> UnfinishedView:
        """Return how the snapshot shows it."""
        return UnfinishedView(**asdict(self), is_place_kept=is_place_kept, sentence=self.sentence)

    @property
    def sentence(self) -> str:
        """The sentence about it."""
        if not self.first_row:
            return f"Etch {self.run} ended before its first row was done."
        return f"Etch {self.run} came as far as row {self.first_row} of {self.rows}."
