"""What is seen round a cut of one run, and what it is held against."""

from etchdaemon.controller.facts import Facts
from etchdaemon.run import cut
from etchdaemon.run.cut import CutFound, CutMark, Sighting
from etchdaemon.run.loop_stalls import LoopStalls
from etchdaemon.run.progress import Progress
from etchdaemon.run.row_path import RowPath
from etchdaemon.run.stopping import braking_s
from etchdaemon.service.run.feed import Feed
from etchwire.sheet import Sheet


class CutWatch:
    """Keeps the sightings of the head, and works out from them where the beam went out.

    `fastest_percent` is the highest feed override that was asked for. Without a mark the beam was
    on until the head came to rest.
    """

    def __init__(self, sheet: Sheet, feed: Feed, facts: Facts) -> None:
        self.fastest_percent = 100
        self.sighting: Sighting | None = None  # the last one
        self._sheet = sheet
        self._feed = feed
        self._planner_blocks = facts.build.planner_blocks if facts.build else None
        self._mark: CutMark | None = None
        self._answered_at_mark = 0

    @property
    def is_marked(self) -> bool:
        """Whether the beam has gone out with the head in motion."""
        return self._mark is not None

    def note_sighting(self, sighting: Sighting) -> None:
        """Keep a sighting."""
        self.sighting = sighting
        if self._mark is not None:
            self._mark.note_sighting(sighting)

    def mark(self, now_s: float, loop_stalls: LoopStalls, *, lines_answered: int) -> None:
        """Take note that the beam goes out now, or did as long ago as `loop_stalls` leaves open."""
        if self._mark is None:
            seen = [] if self.sighting is None else [self.sighting]
            self._mark = CutMark.at(now_s, seen, loop_stalls)
            self._answered_at_mark = lines_answered

    def found(self, rest: Sighting, progress: Progress, *, lines_answered: int) -> CutFound | None:
        """Return where in our own rows it was, None where nobody can tell."""
        first, last = progress.spots(
            last_line_sent=self._feed.last_line, lines_answered=lines_answered
        )
        path = RowPath(
            self._sheet,
            self._row_lines,
            start_mm=progress.start_mm,
            fastest_percent=self.fastest_percent,
        )
        if self._mark is None:
            return cut.at_rest(path, first=first, last=last, rest=rest, weak_s=self._weak_s)
        lag_s = self._sheet.head.register.beam_lag_s
        return self._mark.found(path, first=first, last=last, rest=rest, beam_lag_s=lag_s)

    def of_file(self, rest: Sighting, *, lines_answered: int) -> dict[str, object] | None:
        """Return what tells where in another program's file it was, None where nobody can tell.

        Which of its lines that is takes reading the file: `etchpath.reentry.file_cut.FileCut` does.
        """
        if self._planner_blocks is None or (self._mark is not None and self._mark.was_unwatched):
            return None
        is_marked = self._mark is not None
        return {
            "seen": [] if self._mark is None else self._mark.bounds(),
            "rest": [rest.x_mm, rest.y_mm, 0.0 if is_marked else self._weak_s, 0.0],
            "answered_at_cut": self._answered_at_mark if is_marked else lines_answered,
            "answered": lines_answered,
            "planner_blocks": self._planner_blocks,
            "fastest_percent": self.fastest_percent,
        }

    @property
    def _weak_s(self) -> float:
        return cut.weak_s(
            braking_s(
                feed_mm_per_min=self._sheet.recipe.feed_mm_per_min * self.fastest_percent / 100,
                acceleration_mm_per_s2=self._sheet.head.acceleration_mm_per_s2,
            )
        )

    def _row_lines(self, place: int) -> list[bytes]:
        index = self._sheet.index
        is_last = place + 1 == len(index)
        end_byte = self._sheet.gcode_bytes if is_last else index[place + 1].byte
        return self._feed.lines_between(index[place].byte, end_byte)
