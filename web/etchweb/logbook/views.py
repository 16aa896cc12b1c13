"""The page *Logbook*: every etch, what was really run, and why it stopped where it did."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from flask import Blueprint, Response, abort, render_template, request

from etchweb.context import (
    LARGEST_NUMBER,
    absence_as_page,
    answered,
    app_context,
    refusals_as_pages,
)
from etchweb.logbook.etch_record import ask_etch, first_of_chain
from etchweb.logbook.presenter import etch_view, line_view
from etchweb.logbook.search import sought_in, wire_terms
from etchweb.logbook.verdict_presenter import (
    CAUSES,
    CHOICES,
    LONGEST_TEXT,
    SOUGHT_VERDICTS,
)
from etchweb.storage.made_from import made_from
from etchweb.text.formatting import as_sentence
from etchwire.calls.catalogue import Heads, Surfaces
from etchwire.calls.history import Run, RunRecord, RunRowsPage, Runs
from etchwire.calls.machine import Unfinished, UnfinishedRun
from etchwire.errors import Refused
from etchwire.record import row_pages

pages = Blueprint("logbook", __name__)

ETCHES_ON_A_PAGE: Final = 20
# A browser fetches pictures far below what it shows, but none in what is folded away.
SHOWN_AT_FIRST: Final = 6


@pages.get("/logbook")
def show() -> str:
    """List etches, the newest first: all of them, or those that are sought."""
    before = request.args.get("before", type=int)
    if before is not None and not 0 <= before <= LARGEST_NUMBER:
        abort(404)
    sought = sought_in(request.args)
    page = answered(Runs(before=before, limit=ETCHES_ON_A_PAGE, **wire_terms(sought)))
    return render_template(
        "logbook/logbook.html",
        etches=[line_view(run) for run in page.runs],
        at_first=SHOWN_AT_FIRST,
        older=page.next_before,
        is_first=before is None,
        sought=sought,
        sought_terms={name: term for name, term in sought.items() if term},
        is_search=any(sought.values()),
        choices=_choices(sought),
        verdicts=SOUGHT_VERDICTS,
        is_some_clock_unsure=any(run.is_clock_synchronised is False for run in page.runs),
        notes=[as_sentence(note.text) for note in page.notes],
    )


@pages.get(f"/logbook/<int(max={LARGEST_NUMBER}):number>")
def show_etch(number: int) -> str:
    """Show one etch: its tile, its recipe, and what was run beside it."""
    return etch_page(number, "")


def etch_page(number: int, answer: str) -> str:
    """Return the page of one etch, with the answer to what was just asked of it."""
    with refusals_as_pages():
        record = ask_etch(app_context().daemon, number)
    return render_template(
        "logbook/etch.html",
        etch=etch_view(record),
        kept_photos={
            verdict.photo
            for verdict in record.run.verdicts
            if verdict.photo and (app_context().pictures / verdict.photo).exists()
        },
        left=_left_of(record.run),
        can_be_made_again=_is_kept(record.run),
        number=number,
        answer=answer,
        verdict_choices=CHOICES,
        causes=CAUSES,
        longest_text=LONGEST_TEXT,
    )


def _is_kept(run: RunRecord) -> bool:
    """Return whether it is kept what a run was made from; the rest of several, what all were."""
    if run.tiles:
        with refusals_as_pages():
            run = first_of_chain(app_context().daemon, run)
    return made_from(app_context().pictures.parent, run.gcode_sha256) is not None


def _left_of(run: RunRecord) -> UnfinishedRun | None:
    """Return what the daemon says of an etch that was cut short; the page can do without."""
    if run.ended in (None, "complete"):
        return None
    try:
        with absence_as_page():
            return app_context().daemon.ask(Unfinished(run=run.id))
    except Refused:
        return None


def _choices(sought: Mapping[str, str]) -> dict[str, list[str]]:
    """Return the lasers and surfaces the box knows; one that is sought stays in its list."""
    known = {
        "laser": [head.name for head in answered(Heads()).heads],
        "surface": [surface.name for surface in answered(Surfaces()).surfaces],
    }
    return {
        name: sorted({*names, sought[name]} - {""}, key=str.lower) for name, names in known.items()
    }


@pages.get(f"/logbook/<int(max={LARGEST_NUMBER}):number>.csv")
def table(number: int) -> Response:
    """Return what was run in each row, as a table for a spreadsheet."""
    pages_of_rows = row_pages(app_context().daemon.ask, number)
    with refusals_as_pages():
        first = next(pages_of_rows)
    answered(Run(id=number))  # rows of no run are no error to the daemon
    answer = Response(_csv(first, pages_of_rows), mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="etch-{number}.csv"'
    return answer


def _csv(first: RunRowsPage, further: Iterator[RunRowsPage]) -> Iterator[str]:
    yield _csv_lines([first.columns])
    for page in (first, *further):
        yield _csv_lines(page.rows)


def _csv_lines(lines: Iterable[Iterable[object]]) -> str:
    text = io.StringIO()
    csv.writer(text).writerows(lines)
    return text.getvalue()
