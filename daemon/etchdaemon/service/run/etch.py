"""One run of a job: its lines, its place in the picture, its record."""

from collections.abc import Mapping, Sequence
from typing import Final, Self

from etchdaemon.controller.events import StatusReported
from etchdaemon.controller.facts import Facts
from etchdaemon.ports import Clock, Records, RunEnd, RunNote
from etchdaemon.run import cut
from etchdaemon.run.actuals import Meter
from etchdaemon.run.cut import Sighting
from etchdaemon.run.loop_stalls import LoopStalls
from etchdaemon.run.overrides import Override
from etchdaemon.run.progress import Progress
from etchdaemon.run.reentry_rules import CUT, FILE_CUT, NOT_BEGUN, UNBEGUN, cut_event
from etchdaemon.run.starvation import Cause, Starvation, Supply
from etchdaemon.service.job.spool import SpooledJob
from etchdaemon.service.link.controller_profile import notes_of
from etchdaemon.service.run import faults
from etchdaemon.service.run.cut_watch import CutWatch
from etchdaemon.service.run.feed import Feed
from etchwire.sheet import RowEntry

SLOWED_SHARE: Final = 0.95  # of the recipe's speed; nearer than this nobody sees a difference
MOST_WARNINGS: Final = 100  # in one run's record; the cable may be bad for hours


class Etch:
    """A run from its start to its end, as the loop keeps it.

    `limit_line` is the last line that may be fed at present. `ending` is set once it is
    decided how the run will end, and does not change any more.
    """

    def __init__(
        self, job: SpooledJob, *, number: int, facts: Facts, records: Records, clock: Clock
    ) -> None:
        self.job = job
        self.number = number
        self.feed = Feed(job.gcode, lines=job.sheet.gcode_lines)
        x_mm, y_mm, *_ = facts.report.work_mm or (0.0, 0.0)  # parked where nothing says it
        self.progress = Progress(job.sheet, start_mm=(x_mm, y_mm))
        self.meter = Meter(
            max_s=facts.settings.max_s or job.sheet.head.max_s,
            recipe_feed_mm_per_min=job.sheet.recipe.feed_mm_per_min,
        )
        self.started_at_s = clock.now_s()
        self.loop_stalls = LoopStalls(self.started_at_s)
        self.started_at_utc = clock.utc_now()
        self.limit_line = job.sheet.gcode_lines
        self.percent = dict.fromkeys(
            Override, 100
        )  # of the job's own speed and power, as asked for
        self.held_because: str | None = None
        self.is_held_in_motion = False
        self.has_constant_power = False  # standing still it would burn on
        self.ending: tuple[str, str] | None = None
        self.ended_at_s: float | None = None
        self.is_position_known = False  # at its end
        self.has_strayed = False  # from the rows, so that its place says nothing of them
        self.is_all_etched = False  # although it may have failed after that
        self.is_file_cut_logged = False
        self.lines_accepted = 0
        self.moving_s = 0.0
        self._warnings = 0
        self._starvation = Starvation(facts.build.planner_blocks if facts.build else None)
        self._records = records
        self._clock = clock
        self._cut = CutWatch(job.sheet, self.feed, facts)
        self._is_unbegun: bool | None = None  # at the cut

    @classmethod
    def start(
        cls,
        job: SpooledJob,
        *,
        facts: Facts,
        records: Records,
        clock: Clock,
        notes: Mapping[str, object],
    ) -> Self:
        """Write the start into the logbook and wait for it; raise LogbookUnavailable.

        `notes` are what interlocks and preflight have to say of it.
        """
        number = records.start_run(
            sheet_json=job.sheet_json,
            started_at_utc=clock.utc_now(),
            notes={**notes_of(facts), **notes},
            continues_run=job.continues_run,
        )
        return cls(job, number=number, facts=facts, records=records, clock=clock)

    @property
    def elapsed_s(self) -> float:
        """Seconds since the start, holds included."""
        until_s = self._clock.now_s() if self.ended_at_s is None else self.ended_at_s
        return until_s - self.started_at_s

    @property
    def etched_rows(self) -> int:
        """How many rows of the picture are finished, by this run and those it continues."""
        return max(self.progress.etched_rows, self.job.rows_above)

    @property
    def is_fed(self) -> bool:
        """Whether every line that may be fed at present has been."""
        return self.feed.last_line >= self.limit_line

    @property
    def is_fed_to_its_end(self) -> bool:
        """Whether no line of the job is left."""
        return self.feed.last_line >= self.job.sheet.gcode_lines

    def hold_at_row_end(self) -> None:
        """Feed no further than the last row of which any byte was sent."""
        self.limit_line = self.progress.end_of_row(max(self.feed.last_line, 1))

    def stop_feeding(self) -> None:
        """Feed nothing more."""
        self.limit_line = self.feed.last_line

    def feed_on(self) -> None:
        """Feed to the end of the job again."""
        self.limit_line = self.job.sheet.gcode_lines
        self.held_because = None
        self.is_held_in_motion = self.is_all_etched = self.is_file_cut_logged = False

    def take_lines(self, room_bytes: int) -> list[bytes]:
        """Return the next lines that fit; raise EtchdaemonError when they cannot be had."""
        return self.feed.take(room_bytes, until_line=self.limit_line)

    def is_astray(self, report: StatusReported) -> bool:
        """Return whether the head is where nothing of this job goes."""
        if report.work_mm is None or self.progress.entry is None:
            return False
        x_mm, y_mm = report.work_mm[:2]
        return self.progress.is_astray(x_mm, y_mm, last_line_sent=self.feed.last_line)

    def row_end_mm(self) -> tuple[float, float] | None:
        """Return where the head stands after the last line fed; None before the first row."""
        place = self.progress.place_of_line(self.feed.last_line)
        if place < 0:
            return None
        entry = self.job.sheet.index[place]
        return entry.to_mm, entry.y_mm

    def note_report(self, report: StatusReported, *, asked_at_s: float, now_s: float) -> None:
        """Follow the head, and measure what it runs."""
        before = self._cut.sighting
        if before is not None and report.state == "Run":
            self.moving_s += now_s - before.heard_at_s
        sighting = cut.sighting(report, asked_at_s=asked_at_s, heard_at_s=now_s)
        if sighting is None:
            return
        self._cut.note_sighting(sighting)
        if self._cut.is_marked:  # without the beam nothing more is etched
            return
        self._finish(self._rows_finished(sighting.x_mm, sighting.y_mm))
        self.meter.note_report(report, now_s)

    def note_supply(
        self, report: StatusReported, *, in_flight_bytes: int, held_bytes: int | None, now_s: float
    ) -> None:
        """Take note of how well the controller is supplied with lines, and who holds them up."""
        supply = Supply(self.loop_stalls.was_late(now_s), in_flight_bytes, held_bytes)
        self._starvation.note_report(report, supply, elapsed_s=self.elapsed_s, is_fed=self.is_fed)

    def _rows_finished(self, x_mm: float, y_mm: float) -> Sequence[RowEntry]:
        sent = self.feed.last_line
        if self.job.sheet.is_foreign:
            moved_s = self.moving_s
            return self.progress.note_moved(x_mm, y_mm, moved_s=moved_s, last_line_sent=sent)
        return self.progress.note_place(x_mm, y_mm, last_line_sent=sent)

    def row_held(self) -> None:
        """Take note that the head stands at the end of its row."""
        self._finish(self.progress.finish_row_in_work())

    def completed(self) -> None:
        """Take note that the last row is done."""
        self.is_all_etched = True
        self._finish(self.progress.complete())

    def set_override(self, override: Override, percent: int) -> None:
        """Record a requested override."""
        self.percent[override] = percent
        self._cut.fastest_percent = max(self._cut.fastest_percent, self.percent[Override.FEED])

    def mark_cut(self, now_s: float) -> None:
        """Take note that the beam has gone out with the head in motion."""
        self._cut.mark(now_s, self.loop_stalls, lines_answered=self.lines_accepted)

    def note_cut(self, rest: StatusReported | None) -> None:
        """Write where the beam went out, for whoever takes up the rest of the picture."""
        after = None if rest is None else cut.sighting(rest, asked_at_s=0.0, heard_at_s=0.0)
        if after is None or not self.job.sheet.index or self.is_all_etched:
            return
        if self.job.sheet.is_foreign:
            self._note_file_cut(after)
            return
        found = None
        if not self.has_strayed:
            found = self._cut.found(after, self.progress, lines_answered=self.lines_accepted)
        self._is_unbegun = found is not None and found.is_before_all
        if self._is_unbegun:
            return
        if found is None or not found.is_known:
            self.warn(faults.CUT_UNSEEN)
            return
        self._finish(self.progress.finish_before(found.first_place))
        self.is_all_etched = found.first_place == len(self.job.sheet.index)
        if not self.is_all_etched:
            text, details = cut_event(found, self.job.sheet)
            self.note(CUT, text, **details, rest_x_mm=after.x_mm, rest_y_mm=after.y_mm)

    def _note_file_cut(self, rest: Sighting) -> None:
        details = self._cut.of_file(rest, lines_answered=self.lines_accepted)
        self.is_file_cut_logged = details is not None
        if details is not None:
            text = f"The beam went out; the head rests at x {rest.x_mm:.2f}, y {rest.y_mm:.2f} mm."
            self.note(FILE_CUT, text, **details)

    def note(self, kind: str, text: str, **details: object) -> None:
        """Queue an event for the logbook."""
        self._records.note_event(self._run_note(kind, text, details))

    def warn(self, text: str) -> None:
        """Queue a warning, unless there have been too many already."""
        self._warnings += 1
        if self._warnings <= MOST_WARNINGS:
            self.note("warning", text)

    def confirm(self, kind: str, text: str, **details: object) -> float:
        """Write an event and wait for it; return when that was done; raise LogbookUnavailable."""
        self._records.confirm_event(self._run_note(kind, text, details))
        return self._clock.now_s()

    def _run_note(self, kind: str, text: str, details: Mapping[str, object]) -> RunNote:
        at_s, at_utc = self.elapsed_s, self._clock.utc_now()
        return RunNote(
            run=self.number, at_s=at_s, at_utc=at_utc, kind=kind, text=text, details=details
        )

    def end(self, *, is_position_known: bool) -> None:
        """Close the record with the ending decided on."""
        ended, because = self.ending or ("failed", "The run ended without a reason.")
        self.is_position_known = is_position_known
        if ended == "failed" and self.is_all_etched:
            because = faults.after_the_last_row(because)
        if not is_position_known:
            because = faults.with_place_lost(because)
        elif ended != "complete" and self._has_not_begun:
            self.note(UNBEGUN, NOT_BEGUN)
        self.ending = (ended, because)
        self.ended_at_s = self._clock.now_s()
        self._note_starvation()
        end = RunEnd(
            run=self.number,
            ended=ended,
            because=because,
            elapsed_s=self.elapsed_s,
            at_utc=self._clock.utc_now(),
            etched_rows=self.etched_rows,
        )
        self._records.end_run(end)
        self.feed.close()

    def _note_starvation(self) -> None:
        recipe_mm_per_min = self.job.sheet.recipe.feed_mm_per_min
        for cause, reports in self._starvation.reports.items():
            if reports and cause is not Cause.CONTROLLER:
                self.note("starved", faults.STARVED[cause], reports=reports, cause=cause.value)
        run = self._starvation.slowed_feed_mm_per_min
        if run is not None and run < SLOWED_SHARE * recipe_mm_per_min:
            reports = self._starvation.reports[Cause.CONTROLLER]
            text = faults.slowed(run_mm_per_min=run, asked_mm_per_min=recipe_mm_per_min)
            self.note("slowed", text, reports=reports, cause=Cause.CONTROLLER.value)

    @property
    def _has_not_begun(self) -> bool:
        """Whether the beam went out before the first dot; without a cut, whether no row came."""
        return self.progress.entry is None if self._is_unbegun is None else self._is_unbegun

    def _finish(self, rows: Sequence[RowEntry]) -> None:
        if rows:
            at_s = self.elapsed_s
            self._records.note_rows(
                self.number, [self.meter.finish_row(entry.row, at_s=at_s) for entry in rows]
            )
