"""`etchwarden etch`: get the loaded job ready, start it and watch it, from a terminal."""

import time
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Final

import click

from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.machine_calls import daemon_at
from etchwarden.shared.progress import progress_shown
from etchwire.calls.catalogue import Filter
from etchwire.calls.client import DaemonClient
from etchwire.calls.interlock_report import InterlockReport, QuestionView
from etchwire.calls.machine import Arm, Start, Status
from etchwire.calls.snapshot import JobView, RunView, Snapshot, TileView
from etchwire.catalogue.extraction_filter import SECONDS_PER_HOUR, filter_note
from etchwire.errors import Refused

LOOKS_EVERY_S: Final = 0.1
WAITS_FOR_SOMEBODY: Final = "waiting for somebody at the machine"

Answer = bool | float | str


@click.command()
@click.option(
    "--answer", "answers", multiple=True, metavar="KEY=ANSWER",
    help="An answer to the checklist beforehand, as lens=yes or focus=spacer; the rest is asked.",
)  # fmt: skip
@click.option("--long-run", is_flag=True, help="Say yes to an etch that takes long.")
@click.option("--stays", default="", metavar="NAME", help="Who stays until the end.")
@daemon_option()
def command(answers: tuple[str, ...], *, long_run: bool, stays: str, socket: Path) -> None:
    """Etch the job that is loaded: answer the checklist, press the button at the machine, watch.

    Nothing starts from here alone: somebody has to show at the machine that they are there.
    Ctrl-C ends the watching, not the etch. Exit code 1: it did not come to its end.
    """
    with daemon_at(socket) as daemon:
        found = _await(daemon, "arm")
        read = _read_findings(found.job)
        _say_filter(daemon)
        given = _answered(found.interlocks.questions, answers)
        daemon.ask(Arm(answers=given, acknowledge=read))
        _await(daemon, "start")
        daemon.ask(Start(acknowledge_long_run=long_run, stays_until_end=stays, acknowledge=read))
        run = _watched(daemon)
    because = f": {run.because}" if run.because else ""
    click.echo(f"Run {run.id}: {run.ended}{because}")
    if run.ended != "complete":
        raise SystemExit(1)


def _await(daemon: DaemonClient, step: str) -> Snapshot:
    """Return the first snapshot in which `step` may be asked; raise ClickException if none can.

    What somebody has to do at the machine first is said once.
    """
    said = ""
    while True:
        now = daemon.ask(Status())
        if step in now.may:
            return now
        _require_hope(now, step)
        request = _request_of(now.interlocks)
        if request and request != said:
            click.echo(request, err=True)
        said = request or said
        time.sleep(LOOKS_EVERY_S)


def _request_of(box: InterlockReport) -> str:
    """Return what somebody has to do at the machine now; empty where nothing waits for them."""
    if box.arming.step == WAITS_FOR_SOMEBODY:
        return "Now press the button at the machine."
    return box.request or ""


def _require_hope(now: Snapshot, step: str) -> None:
    job, arming, too_late = now.job, now.interlocks.arming, now.asked_at_start.too_late
    if too_late:
        raise click.ClickException(too_late)
    if job is None:
        raise click.ClickException("No job is loaded: etchwarden load JOB.")
    if job.preflight.verdict == "refused":
        raise click.ClickException(job.preflight.sentence)
    is_checked = job.preflight.verdict != "checking" and now.machine.link == "ready"
    if step == "arm" and is_checked and not _request_of(now.interlocks):
        raise click.ClickException(f"It cannot be got ready now. {now.sentence}")
    if step == "start" and not arming.is_under_way and arming.failed_because:
        raise click.ClickException(arming.failed_because)


def _read_findings(job: JobView | None) -> tuple[str, ...]:
    kinds = () if job is None else job.preflight.to_acknowledge
    for finding in () if job is None else job.preflight.findings:
        if finding.kind in kinds:
            click.echo(f"{finding.kind}: {finding.reason}")
    if kinds:
        click.confirm("Etch it all the same?", abort=True)
    return kinds


def _say_filter(daemon: DaemonClient) -> None:
    """Say where the filter is due; a logbook that cannot say keeps nobody from etching."""
    with suppress(Refused):
        found = daemon.ask(Filter())
        if note := filter_note(found.beam_since_change_s / SECONDS_PER_HOUR, found.limit_h):
            click.echo(note, err=True)


def _answered(questions: Sequence[QuestionView], given: tuple[str, ...]) -> dict[str, Answer]:
    before = dict(pair.partition("=")[::2] for pair in given)
    return {
        one.key: _answer(one, before[one.key]) if one.key in before else _asked(one)
        for one in questions
    }


def _answer(question: QuestionView, word: str) -> Answer:
    if question.kind == "confirmation":
        return word.lower() in ("yes", "y", "true")
    if question.kind != "hours":
        return word
    try:
        return float(word)
    except ValueError as error:
        raise click.UsageError(f"{question.key} takes a number of hours, not {word!r}") from error


def _asked(question: QuestionView) -> Answer:
    if question.kind == "confirmation":
        return click.confirm(question.text, default=False)
    answer: Answer
    if question.kind == "hours":
        answer = click.prompt(question.text, type=float)
    else:
        answer = click.prompt(question.text, type=click.Choice(list(question.choices)))
    return answer


def _watched(daemon: DaemonClient) -> RunView:
    said, tile = None, 0
    with progress_shown("Etching") as show:
        for snapshot in daemon.watch():
            asked_for = snapshot.interlocks.asked_for
            if asked_for is not None and asked_for != said:
                click.echo(asked_for, err=True)
            said = asked_for
            if snapshot.run is None:
                continue
            show(snapshot.run.share)
            if snapshot.run.tile is not None and snapshot.run.tile.number != tile:
                tile = snapshot.run.tile.number
                click.echo(_tile_text(snapshot.run.tile, snapshot.run.ends_at_utc), err=True)
            if snapshot.run.ended is not None:
                return snapshot.run
    raise click.ClickException("The daemon went silent before the run had ended.")


def _tile_text(tile: TileView, all_end_at_utc: str | None) -> str:
    """Return which tile of several is in work, when it ends, and when all of them do."""
    ends = "" if tile.ends_at_utc is None else f", ends {_clock_time(tile.ends_at_utc)}"
    all_end = "" if all_end_at_utc is None else f", all {_clock_time(all_end_at_utc)}"
    return f"Tile {tile.number} of {tile.tiles}, in pocket {tile.pocket}{ends}{all_end}."


def _clock_time(at_utc: str) -> str:
    return datetime.fromisoformat(at_utc).astimezone().strftime("%H:%M")
