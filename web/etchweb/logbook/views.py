"""The page *Logbook*: every etch, what was really run, and why it stopped where it did."""

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any, Final, NoReturn

from flask import Blueprint, Response, abort, render_template, request

from etchweb.context import app_context
from etchweb.daemon.protocol import Daemon
from etchweb.logbook.presenter import etch_view, line_view
from etchweb.logbook.search import sought_in, wire_terms
from etchweb.logbook.verdict_presenter import CAUSES, CHOICES, LONGEST_TEXT
from etchweb.text.formatting import as_sentence
from etchwire.errors import DaemonAbsent, Refused
from etchwire.record import PAGE_ROWS, run_record

pages = Blueprint("logbook", __name__)

ETCHES_ON_A_PAGE: Final = 20
LARGEST_NUMBER: Final = 2**53 - 1


@pages.get("/logbook")
def show() -> str:
    """List etches, the newest first: all of them, or those that are sought."""
    before = request.args.get("before", type=int)
    if before is not None and not 0 <= before <= LARGEST_NUMBER:
        abort(404)
    sought = sought_in(request.args)
    answer = _asked("runs", before=before, limit=ETCHES_ON_A_PAGE, **wire_terms(sought))
    etches = [line_view(run) for run in answer["runs"]]
    return render_template(
        "logbook/logbook.html",
        etches=etches,
        older=answer["next_before"],
        is_first=before is None,
        sought=sought,
        sought_terms={name: term for name, term in sought.items() if term},
        is_search=any(sought.values()),
        choices=_choices(sought),
        notes=[as_sentence(note["text"]) for note in answer["notes"]],
    )


@pages.get("/logbook/<int(max=9007199254740991):number>")
def show_etch(number: int) -> str:
    """Show one etch: its tile, its recipe, and what was run beside it."""
    return etch_page(number, "")


def etch_page(number: int, answer: str) -> str:
    """Return the page of one etch, with the answer to what was just asked of it."""
    record = answered(lambda: run_record(app_context().daemon.ask, number))
    return render_template(
        "logbook/etch.html",
        etch=etch_view(record),
        left=_left_of(record),
        number=number,
        answer=answer,
        verdict_choices=CHOICES,
        causes=CAUSES,
        longest_text=LONGEST_TEXT,
    )


def _left_of(record: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Return what the daemon says of an etch that was cut short; the page can do without."""
    if record["ended"] in (None, "complete"):
        return None
    try:
        left: Mapping[str, Any] = asked("unfinished", run=record["id"])
    except Refused:
        return None
    return left


def _choices(sought: Mapping[str, str]) -> dict[str, list[str]]:
    """Return the lasers and surfaces the box knows; one that is sought stays in its list."""
    known = {
        "laser": [head["name"] for head in _asked("heads")["heads"]],
        "surface": [surface["name"] for surface in _asked("surfaces")["surfaces"]],
    }
    return {
        name: sorted({*names, sought[name]} - {""}, key=str.lower) for name, names in known.items()
    }


@pages.get("/logbook/<int(max=9007199254740991):number>.csv")
def table(number: int) -> Response:
    """Return what was run in each row, as a table for a spreadsheet."""
    first = _asked("run_rows", id=number, from_row=0, limit=PAGE_ROWS)
    _asked("run", id=number)  # rows of no run are no error to the daemon
    answer = Response(_csv(app_context().daemon, number, first), mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="etch-{number}.csv"'
    return answer


def _csv(daemon: Daemon, number: int, answer: Mapping[str, Any]) -> Iterator[str]:
    yield _csv_lines([answer["columns"]])
    while True:
        yield _csv_lines(answer["rows"])
        if answer["next_row"] is None:
            return
        answer = daemon.ask("run_rows", id=number, from_row=answer["next_row"], limit=PAGE_ROWS)


def _csv_lines(lines: Any) -> str:
    text = io.StringIO()
    csv.writer(text).writerows(lines)
    return text.getvalue()


def asked(method: str, **params: Any) -> Any:
    """Return the daemon's answer; end the request with 503 while it is away."""
    try:
        return app_context().daemon.ask(method, **params)
    except DaemonAbsent as error:
        _away(error)


def _asked(method: str, **params: Any) -> Any:
    return answered(lambda: app_context().daemon.ask(method, **params))


def answered(ask: Any) -> Any:
    """Return what `ask` returns; end the request where the daemon refuses or is away."""
    try:
        return ask()
    except Refused as refusal:
        abort(404 if refusal.kind == "refused" else 503, as_sentence(str(refusal)))
    except DaemonAbsent as error:
        _away(error)


def _away(error: DaemonAbsent) -> NoReturn:
    abort(503, f"{as_sentence(str(error))} The logbook is with it; look again when it is back.")
