"""`etchwarden read`: photos of a wiped test card become a recipe, a tone curve or a register."""

from collections.abc import Iterable
from pathlib import Path
from typing import Final

import click

from etchproof.camera import OneReading, read_card
from etchproof.card import POWER, TONE, Card
from etchproof.choosing import Outcome, choose
from etchproof.errors import EtchproofError, UnreadableCard
from etchproof.hand_marks import Mark, marks_from_table
from etchproof.job import read_card_file
from etchproof.overlay import draw_overlay
from etchproof.reading import Reading
from etchproof.register_reading import RegisterReading, register_by_camera, register_by_eye
from etchproof.second_card import SECOND_STEPS
from etchproof.tone_reading import read_tone

READING_NAME: Final = "reading.json"  # beside the card's description
OVERLAY_NAME: Final = "read-{}.png"

_JUDGED: Final = {"as dark as any": " ", "too light": "-", "burnt too far": "+", "uneven": "~"}


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("photos", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--card", "folders", multiple=True, required=True, type=click.Path(path_type=Path),
    metavar="CARD", help="The card's folder; several where you are not sure which it is.",
)  # fmt: skip
@click.option(
    "--wiped/--not-wiped", "is_wiped", default=None,
    help="The card has cooled and was wiped; left out, you are asked.",
)  # fmt: skip
@click.option(
    "--mark", "marks", multiple=True, metavar="PATCH=WORD",
    help=f"What you found by hand, as B3='{Mark.RUBS_OFF}'; words: "
    f"{', '.join(mark.value for mark in Mark)}.",
)  # fmt: skip
@click.option(
    "--meets", multiple=True, metavar="SPEED=PAIR",
    help="On a register card, the pair that is one line at a speed, as 4000=7.5; once for each "
    "speed.",
)  # fmt: skip
@click.option(
    "--after", multiple=True, type=click.Path(path_type=Path), metavar="CARD",
    help="Power cards of the same laser, tile and paint that were read before.",
)  # fmt: skip
def command(
    photos: tuple[Path, ...],
    folders: tuple[Path, ...],
    is_wiped: bool | None,
    marks: tuple[str, ...],
    meets: tuple[str, ...],
    after: tuple[Path, ...],
) -> None:
    """Read a test card from PHOTOS of it, from marks by hand, or from both.

    Several photos of one card are combined. What was read, and pictures of where, are kept in
    the card's folder.
    """
    try:
        cards = {folder: read_card_file(folder) for folder in folders}
        reading, card, folder = _read(photos, cards, is_wiped=is_wiped)
        if card.kind == POWER:
            table = _table(marks, "PATCH=WORD")
            outcome = choose(card, reading, marks_from_table(table, card), earlier=_earlier(after))
            _tell_power(card, outcome, folder)
        elif card.kind == TONE:
            _tell_tone(card, _needed(reading))
        else:
            _tell_register(_register(card, reading, meets))
    except EtchproofError as error:
        raise click.ClickException(f"{error}.") from error


def _read(
    photos: tuple[Path, ...], cards: dict[Path, Card], *, is_wiped: bool | None
) -> tuple[Reading | None, Card, Path]:
    if not photos:
        if len(cards) > 1:
            raise UnreadableCard("without a photo, say which one card was read by hand")
        folder, card = next(iter(cards.items()))
        return None, card, folder
    if is_wiped is None:
        is_wiped = click.confirm("Has the card cooled, and was it wiped?", default=False)
    reading, ones = read_card(photos, cards.values(), is_wiped=is_wiped)
    card = ones[0].at.card
    folder = next(folder for folder, one in cards.items() if one == card)
    _keep(folder if folder.is_dir() else folder.parent, reading, ones)
    return reading, card, folder


def _keep(folder: Path, reading: Reading, ones: Iterable[OneReading]) -> None:
    try:
        (folder / READING_NAME).write_text(reading.to_json(), encoding="utf-8")
        for number, one in enumerate(ones, start=1):
            draw_overlay(one).save(folder / OVERLAY_NAME.format(number))
    except OSError as error:
        raise UnreadableCard(
            f"what was read cannot be kept in {folder} ({error.strerror}): see who may write there"
        ) from error
    click.echo(f"What was read where: {folder / OVERLAY_NAME.format(1)}", err=True)


def _earlier(folders: tuple[Path, ...]) -> list[Outcome]:
    outcomes: list[Outcome] = []
    for folder in folders:
        try:
            stored = (folder / READING_NAME).read_bytes()
        except OSError as error:
            raise UnreadableCard(f"{folder} holds no card that was read before") from error
        card = read_card_file(folder)
        outcomes.append(choose(card, Reading.from_json(stored), {}, earlier=outcomes))
    return outcomes


def _table(pairs: tuple[str, ...], form: str) -> dict[str, str]:
    table = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals:
            raise UnreadableCard(f"{pair!r} has no equals sign: write {form}")
        table[key.strip()] = value.strip()
    return table


def _needed(reading: Reading | None) -> Reading:
    if reading is None:
        raise UnreadableCard("greys are read by camera only: name a photo of the card")
    return reading


def _register(card: Card, reading: Reading | None, meets: tuple[str, ...]) -> RegisterReading:
    if meets:
        table = _table(meets, "SPEED=PAIR")
        try:
            meeting = {float(feed): float(number) for feed, number in table.items()}
        except ValueError as error:
            raise UnreadableCard("speeds and pairs are numbers: write --meets 4000=7.5") from error
        return register_by_eye(card, meeting)
    return register_by_camera(_needed(reading))


def _tell_power(card: Card, outcome: Outcome, folder: Path) -> None:
    by_feed: dict[float, list[str]] = {}
    for cell in outcome.cells:
        shown = "  ." if cell.lightness is None else f"{cell.lightness:3.0f}"
        by_feed.setdefault(cell.feed_mm_per_min, []).append(
            f"{cell.name} {shown}{_JUDGED.get(cell.judgement, '!')}"
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
    wanted = outcome.next_range
    click.echo(
        f"A finer card: etchwarden card power -o NAME --speeds {wanted.low_feed_mm_per_min:.0f} "
        f"{wanted.high_feed_mm_per_min:.0f} --powers {wanted.low_power_ratio * 100:.1f} "
        f"{wanted.high_power_ratio * 100:.1f} --steps {SECOND_STEPS[0]} {SECOND_STEPS[1]}, read "
        f"with --after {folder}"
    )


def _tell_tone(card: Card, reading: Reading) -> None:
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


def _tell_register(found: RegisterReading) -> None:
    for apart in found.at_speeds:
        click.echo(
            f"At {apart.feed_mm_per_min:.0f} mm/min the two directions land "
            f"{apart.apart_mm:.3f} mm apart, give or take {apart.doubt_mm:.3f}."
        )
    click.echo("In your laser's file:\n\n[register]")
    click.echo(f"beam_lag_s = {found.register.beam_lag_s:.7f}")
    click.echo(f"slack_mm = {found.register.slack_mm:.4f}\nis_measured = true")
