"""What a card showed, as lines for a person."""

import shlex
from pathlib import Path
from typing import Final

import click

from etchproof.card import FOCUS, Card
from etchproof.choosing.card_result import CardResult
from etchproof.choosing.choice import Outcome
from etchproof.choosing.next_card import NextCard
from etchproof.choosing.second_card import SECOND_STEPS
from etchproof.model.register_reading import RegisterReading
from etchproof.model.tone_reading import read_tone
from etchproof.reading.values import Reading

_JUDGED: Final = {"as dark as any": " ", "too light": "-", "burnt too far": "+", "uneven": "~"}


def print_power(card: Card, outcome: Outcome, folder: Path) -> None:
    """Say what a power card led to, and which card would find it out finer."""
    by_feed: dict[float, list[str]] = {}
    for cell in outcome.cells:
        lightness_text = "  ." if cell.lightness is None else f"{cell.lightness:3.0f}"
        by_feed.setdefault(cell.feed_mm_per_min, []).append(
            f"{cell.name} {lightness_text}{_JUDGED.get(cell.judgement, '!')}"
        )
    click.echo("Lightness of each patch beside bare tile (100), slow to fast:")
    for feed, cells in by_feed.items():
        click.echo(f"  {feed:6.0f} mm/min   {'   '.join(cells)}")
    click.echo("  - too light   + burnt too far   ~ uneven   ! marked by hand or not read")
    for sentence in outcome.sentences:
        click.echo(sentence)
    if outcome.choice and outcome.response:
        power_w = card.head.rated_optical_w * outcome.choice.power_ratio
        click.echo(
            f"With {power_w:.3g} W darkening begins at "
            f"{outcome.response.threshold_j_per_mm2(power_w):.2g} J/mm² and is nearly done at "
            f"{outcome.response.saturation_j_per_mm2(power_w):.2g} J/mm²."
        )
    finer = outcome.next_range
    click.echo(
        f"A finer card: etchwarden card power -o NAME --speeds {finer.low_feed_mm_per_min:.0f} "
        f"{finer.high_feed_mm_per_min:.0f} --powers {finer.low_power_ratio * 100:.1f} "
        f"{finer.high_power_ratio * 100:.1f} --steps {SECOND_STEPS[0]} {SECOND_STEPS[1]}, read "
        f"with --after {folder}"
    )


def print_strip(told: CardResult) -> None:
    """Say whether the recipe holds, what each patch showed, and what the recipe becomes."""
    click.echo("Lightness of each patch beside bare tile (100), slow to fast:")
    for cell in told.table["cells"]:
        shown = "  ." if cell["lightness"] is None else f"{cell['lightness']:3.0f}"
        mark = _JUDGED.get(cell["judgement"], "!")
        click.echo(f"  {cell['name']} {cell['feed_mm_per_min']:6.0f} mm/min   {shown}{mark}")
    for sentence in told.table["sentences"]:
        click.echo(sentence)


def print_tone(card: Card, reading: Reading) -> None:
    """Say how much darker greys look than they were burnt."""
    tone = read_tone(card, reading)
    click.echo("Share burnt and what it looks like, in per cent:")
    for burnt, looks in zip(tone.burnt, tone.effective, strict=True):
        click.echo(f"  {burnt * 100:5.1f}  {looks * 100:5.1f}")
    solid = next(patch for patch in card.patches if patch.coverage == 1)
    read = reading.of(solid.cell, solid.part)
    darkest = f", lightness {read.lightness:.0f}" if read else ""
    click.echo(
        f"Half the area burnt looks {tone.tvi_percent:+.1f} points of what it should. Black "
        f"reflects {tone.black * 100:.1f} % of what the bare tile does{darkest}."
    )


def print_register(found: RegisterReading) -> None:
    """Say how far rows land apart, and what goes into the laser's file."""
    for apart in found.at_speeds:
        click.echo(
            f"At {apart.feed_mm_per_min:.0f} mm/min the two directions land "
            f"{apart.apart_mm:z.3f} mm apart, give or take {apart.doubt_mm:.3f} "
            "(nine times in ten it is within that)."
        )
    click.echo("In your laser's file:\n\n[register]")
    click.echo(f"beam_lag_s = {found.register.beam_lag_s:.7f}")
    click.echo(f"slack_mm = {found.register.slack_mm:.4f}\nis_measured = true")


def print_next(card: Card, due: NextCard | None) -> None:
    """Say which command comes next for the laser and surface of `card`; `due` is a card or None."""
    pair = f"--head {shlex.quote(card.head.name)} --surface {shlex.quote(card.recipe.surface)}"
    if due is None:
        click.echo(f"Next: a picture. etchwarden prepare PHOTO -o NAME {pair}")
        return
    wedge = " --wedge LEFT RIGHT LENGTH" if due.kind == FOCUS else ""
    click.echo(f"Next: {due.why}\n  etchwarden card {due.kind} -o NAME{wedge} {pair}")
