"""`etchwarden timeline`: what happened with a laser on a surface, and when to test again."""

import json
from functools import singledispatch
from pathlib import Path

import click

from etchwarden.shared.catalogue_calls import catalogue_calls_at
from etchwarden.shared.daemon_option import daemon_option
from etchwire.calls.json_values import to_json_value
from etchwire.calls.time_line import (
    CardFiled,
    CardRead,
    LensWiped,
    RecipeSaved,
    RunMade,
    TileJudged,
    TimeLine,
    TimeLineEvent,
)


@click.command()
@click.option("--head", metavar="LASER", required=True, help="Its name.")
@click.option("--surface", metavar="TEXT", required=True, help="Tile and paint.")
@click.option("--limit", default=50, show_default=True, help="How many of the newest events.")
@click.option("--json", "is_json", is_flag=True, help="As JSON, with every figure.")
@daemon_option()
def command(*, head: str, surface: str, limit: int, is_json: bool, socket: Path) -> None:
    """Cards, readings, recipes, etches and verdicts of a laser on a surface, oldest first.

    Above them stands what speaks for a test.
    """
    with catalogue_calls_at(socket) as catalogue:
        laser = catalogue.head(head).name
        events = catalogue.daemon.ask(TimeLine(head=laser, surface=surface, limit=limit)).events
        advice = catalogue.advice(laser, surface)
    if is_json:
        click.echo(json.dumps({"advice": advice, "events": to_json_value(events)}, indent=1))
        return
    for sentence in advice or ["Nothing speaks for a test."]:
        click.echo(sentence)
    for event in reversed(events):
        click.echo(f"{event.at_utc[:16]}  {event.beam_h:7.2f} h  {event_text(event)}")


@singledispatch
def event_text(event: TimeLineEvent) -> str:
    """Return what happened as part of a sentence; the bare kind for one that is not known."""
    return event.kind


@event_text.register
def _card(event: CardFiled) -> str:
    burnt = f"burnt by run {event.run_id}" if event.run_id else "not burnt yet"
    return f"card {event.id}, {event.card_kind}, {burnt}"


@event_text.register
def _run(event: RunMade) -> str:
    what = f"card {event.card_number}" if event.card_number else event.title
    asked_text = f"{event.feed_asked_mm_per_min:.0f} mm/min {event.power_asked_ratio * 100:.3g} %"
    ran = ""
    if event.feed_run_mm_per_min:
        power = event.power_run_ratio or 0.0
        ran = f", ran at {event.feed_run_mm_per_min:.0f} mm/min {power * 100:.3g} %"
    verdict = f", {event.verdict}" if event.verdict else ""
    return f"run {event.id}, {what}: {asked_text} asked{ran}; {event.ended or 'goes on'}{verdict}"


@event_text.register
def _reading(event: CardRead) -> str:
    figures = ", ".join(
        f"{name.replace('_', ' ')} {value:.4g}"
        for name, value in event.summary.items()
        if isinstance(value, (int, float))
    )
    chosen = f"; chosen by {event.chosen_by}" if event.chosen else "; nothing chosen"
    return f"reading {event.id} of card {event.card_number} by {event.way}: {figures}{chosen}"


@event_text.register
def _recipe(event: RecipeSaved) -> str:
    tone = ", greys measured" if event.is_tone_measured else ""
    retired = ", retired" if event.retired_at_utc else ""
    return (
        f"recipe {event.id} by {event.origin}: {event.feed_mm_per_min:.0f} mm/min "
        f"{event.power_ratio * 100:.3g} % {event.line_spacing_mm:.3g} mm{tone}{retired}"
    )


@event_text.register
def _verdict(event: TileJudged) -> str:
    cause = f", because {event.cause}" if event.cause else ""
    return f"verdict on run {event.run_id}: {event.verdict}{cause}"


@event_text.register
def _wiped(event: LensWiped) -> str:
    return f"lens wiped by {event.who}"
