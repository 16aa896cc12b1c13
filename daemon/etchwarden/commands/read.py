"""`etchwarden read`: photos of a wiped test card become a recipe, a register or a spot."""

from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, Final

import click

from etchphoto.expected import QUICK_COMPRESSION
from etchproof.card import CHECK, POWER, REGISTER, TONE, Card
from etchproof.choosing.card_result import CardEvidence, power_outcome, result_of
from etchproof.choosing.durability import Trial
from etchproof.choosing.filed_cards import (
    earlier_cards,
    greys_left_behind,
    in_force_for,
    measured_in,
    newest_reading,
)
from etchproof.choosing.kinds import TREATMENTS
from etchproof.errors import UnreadableCard
from etchproof.layout.job import read_card_file
from etchproof.model.register_reading import register_by_camera, register_by_eye
from etchproof.reading.camera import OneReading, read_card
from etchproof.reading.hand_marks import Mark, marks_from_table
from etchproof.reading.overlay import draw_overlay
from etchproof.reading.values import Reading
from etchwarden.shared.card_calls import CardCalls, card_calls_at, refusals_reported
from etchwarden.shared.card_text import (
    print_next,
    print_power,
    print_register,
    print_strip,
    print_tone,
)
from etchwarden.shared.daemon_option import daemon_option
from etchwire.catalogue.records import with_own_figures
from etchwire.storing import write_whole
from etchwire.transport.json_text import JsonTable

READING_NAME: Final = "reading.json"  # beside the card's description
WORN_NAME: Final = "reading-worn.json"  # what a strip shows after a trial
OVERLAY_NAME: Final = "read-{}.png"
FINGERNAIL: Final = {
    "yes": Mark.GOOD,
    "could not tell": Mark.COULD_NOT_TELL,
    "no": Mark.RUBS_OFF,
}
CURVE_LEFT_OUT: Final = (
    "Note: the greys were measured at the card's own speed and power, so their tone curve is left "
    "out: etch a tone card with these."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Options:
    """What was said on the command line; None for what was not."""

    photos: tuple[Path, ...]
    folders: tuple[Path, ...]
    is_wiped: bool | None
    marks: tuple[str, ...]
    meets: tuple[str, ...]
    is_wedge_turned: bool
    after: tuple[Path, ...]
    is_accepted: bool | None
    fingernail: str | None
    is_cloth_clean: bool | None
    feed_mm_per_min: float | None
    power_percent: float | None
    treatment: str | None
    cycles: int
    socket: Path | None


@click.command()
@click.argument("photos", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--card", "folders", multiple=True, type=click.Path(path_type=Path), metavar="CARD",
    help="The card's folder; several where you are not sure which it is. Left out, the logbook's "
    "cards are looked through.",
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
    "--other-way-round", "is_wedge_turned", is_flag=True,
    help="The wedge under a focus card had its high end where its low end should have been.",
)  # fmt: skip
@click.option(
    "--after", multiple=True, type=click.Path(path_type=Path), metavar="CARD",
    help="Cards of the same laser, tile and paint that were read before.",
)  # fmt: skip
@click.option(
    "--accept/--no-accept", "is_accepted", default=None,
    help="With --daemon: take what is recommended; left out, you are asked.",
)  # fmt: skip
@click.option(
    "--fingernail", type=click.Choice(list(FINGERNAIL)),
    help="With --daemon: whether the patch recommended holds under a fingernail; left out, you "
    "are asked before you accept it.",
)  # fmt: skip
@click.option(
    "--cloth-clean/--cloth-dirty", "is_cloth_clean", default=None,
    help="With --daemon, where no patch is black: whether a wet cloth takes nothing more off the "
    "card; left out, you are asked before you accept it.",
)  # fmt: skip
@click.option("--speed", "feed_mm_per_min", type=float, metavar="MM/MIN", help="Take this speed.")
@click.option("--power", "power_percent", type=float, metavar="PERCENT", help="Take this power.")
@click.option(
    "--trial", "treatment", type=click.Choice(TREATMENTS),
    help="A check strip that was read before has been worn on purpose: by this.",
)  # fmt: skip
@click.option("--cycles", type=int, default=1, show_default=True, help="And so many times.")
@daemon_option(is_required=False)
def command(**said: Any) -> None:
    """Read a test card from PHOTOS of it, from marks by hand, or from both.

    Several photos of one card are combined. What was read, and pictures of where, are kept in
    the card's folder. With --daemon it goes into the logbook, and what you accept is in force.
    """
    options = _Options(**said)
    with card_calls_at(options.socket) as logbook, refusals_reported():
        cards = _cards(options.folders, logbook, beside=options.photos)
        before = _read_before(cards, options)
        reading, card, folder = _read(options, cards)
        evidence = CardEvidence(
            card=card,
            reading=reading,
            marks=marks_from_table(_table(options.marks, "PATCH=WORD"), card),
            meets=_meeting(options.meets),
            is_wedge_turned=options.is_wedge_turned,
            trial=_trial(before.get(card.number, ""), card, options, logbook),
            in_force=in_force_for(logbook.ask, card) if logbook else None,
        )
        filed = earlier_cards(logbook.ask, card) if logbook else []
        earlier = [*map(CardEvidence.from_table, filed), *_earlier(options.after)]
        _tell(evidence, earlier, folder)
        if logbook:
            _file(logbook, evidence, earlier, options)
            if card.kind != CHECK:  # which asks about a recipe in use
                print_next(card, logbook.next_card(card))
    if options.socket is None:
        click.echo("Note: without --daemon the logbook does not know of this.", err=True)


def _read_before(cards: dict[Path, Card], options: _Options) -> dict[int, str]:
    """Return what lies beside cards before a trial's photo is read, by the card's number."""
    if options.treatment is None:
        return {}
    files = {card.number: folder / READING_NAME for folder, card in cards.items()}
    return {number: file.read_text("utf-8") for number, file in files.items() if file.is_file()}


def _trial(before: str, card: Card, options: _Options, logbook: CardCalls | None) -> Trial | None:
    if options.treatment is None:
        return None
    if not before and logbook:
        before = measured_in(newest_reading(logbook.ask, card.number))
    table = {"treatment": options.treatment, "cycles": options.cycles, "before": before}
    return Trial.from_table(table)


def _cards(
    folders: tuple[Path, ...], logbook: CardCalls | None, *, beside: tuple[Path, ...]
) -> dict[Path, Card]:
    if not folders and logbook is None:
        raise click.UsageError("say with --card which card it is, or --daemon for the logbook's")
    if folders or logbook is None:
        return {folder: read_card_file(folder) for folder in folders}
    home = beside[0].parent if beside else Path()
    return {home / f"card-{card.number}": card for card in logbook.cards()}


def _tell(evidence: CardEvidence, earlier: list[CardEvidence], folder: Path) -> None:
    card = evidence.card
    if card.kind == POWER and evidence.trial is None:
        print_power(card, power_outcome(evidence, earlier), folder)
    elif card.kind == CHECK and evidence.trial is None:
        print_strip(result_of(evidence, earlier=earlier))
    elif card.kind != REGISTER or evidence.trial is not None:
        if card.kind == TONE and evidence.trial is None:
            print_tone(card, _needed(evidence.reading))
        for sentence in result_of(evidence, earlier=earlier).table["sentences"]:
            click.echo(sentence)
    elif evidence.meets:
        print_register(register_by_eye(card, evidence.meets))
    else:
        print_register(register_by_camera(_needed(evidence.reading)))


def _file(
    logbook: CardCalls, evidence: CardEvidence, earlier: list[CardEvidence], options: _Options
) -> None:
    if options.is_accepted is not False:
        evidence = _tried(evidence, earlier, options.fingernail)
    result = result_of(evidence, earlier=earlier)
    photos = [photo.name for photo in evidence.reading.photos] if evidence.reading else []
    number = logbook.file_reading(evidence, result, photos=photos)
    click.echo(f"This is reading {number} in the logbook.")
    if result.summary.get("bed_place") and (bed := logbook.bed_focus(evidence.card.head.name)):
        for sentence in bed.sentences():
            click.echo(sentence)
    chosen = _chosen(result.recommended, options)
    if chosen is None:
        return
    _tell_greys_left_behind(logbook, evidence.card)
    if result.table.get("is_wiping_asked") and not _is_cloth_clean(options):
        click.echo("Nothing is accepted: wipe the card, take the picture again, and read that.")
        return
    is_accepted = options.is_accepted
    if is_accepted is None:
        is_accepted = click.confirm("Shall that be in force from now on?", default=True)
    if is_accepted:
        logbook.accept(number, chosen)
        click.echo("It is in force.")


def _tell_greys_left_behind(logbook: CardCalls, card: Card) -> None:
    if card.kind != POWER:
        return
    note = greys_left_behind(logbook.ask, card.head.name, card.recipe.surface)
    if note:
        click.echo(f"Note: {note}", err=True)


def _is_cloth_clean(options: _Options) -> bool:
    if options.is_accepted is False or options.is_cloth_clean is not None:
        return options.is_cloth_clean is not False
    return click.confirm("Does a wet cloth take nothing more off the card?", default=False)


def _tried(evidence: CardEvidence, earlier: list[CardEvidence], answer: str | None) -> CardEvidence:
    """Return it with what a fingernail found on the patch chosen, asked as often as needed."""
    while True:
        table = result_of(evidence, earlier=earlier).table
        if not table.get("is_fingernail_asked"):
            return evidence
        cell = table["choice"]["cell"]
        answer = answer or click.prompt(
            f"Does patch {cell} hold under a fingernail?", type=click.Choice(list(FINGERNAIL))
        )
        evidence, answer = evidence.with_mark(cell, FINGERNAIL[answer]), None
        for sentence in result_of(evidence, earlier=earlier).table["sentences"]:
            click.echo(sentence)


def _chosen(recommended: JsonTable | None, options: _Options) -> JsonTable | None:
    """Return what is recommended, with the speed and power that a person says instead."""
    if recommended is None or "recipe" not in recommended:
        return dict(recommended) if recommended else None
    said = {"feed_mm_per_min": options.feed_mm_per_min}
    if options.power_percent is not None:
        said["power_ratio"] = options.power_percent / 100
    instead = {name: value for name, value in said.items() if value is not None}
    chosen = with_own_figures(recommended["recipe"], instead)
    if "tone_curve" in recommended["recipe"] and "tone_curve" not in chosen:
        click.echo(CURVE_LEFT_OUT, err=True)
    return {"recipe": chosen}


def _read(options: _Options, cards: dict[Path, Card]) -> tuple[Reading | None, Card, Path]:
    photos, is_wiped = options.photos, options.is_wiped
    if not photos:
        if len(cards) != 1:
            raise UnreadableCard("without a photo, say which one card was read by hand")
        folder, card = next(iter(cards.items()))
        return None, card, folder
    if is_wiped is None:
        is_wiped = click.confirm("Has the card cooled, and was it wiped?", default=False)
    reading, ones = read_card(photos, cards.values(), is_wiped=is_wiped)
    card = ones[0].at.card
    folder = next(folder for folder, one in cards.items() if one == card)
    home = folder.parent if folder.is_file() else folder
    _keep(home, reading, ones, name=READING_NAME if options.treatment is None else WORN_NAME)
    return reading, card, folder


def _keep(folder: Path, reading: Reading, ones: Iterable[OneReading], *, name: str) -> None:
    try:
        folder.mkdir(exist_ok=True)
        for number, one in enumerate(ones, start=1):
            drawn = BytesIO()
            draw_overlay(one).save(drawn, format="PNG", compress_level=QUICK_COMPRESSION)
            write_whole(folder / OVERLAY_NAME.format(number), drawn.getvalue())
        write_whole(folder / name, reading.to_json())
    except OSError as error:
        raise UnreadableCard(
            f"what was read cannot be kept in {folder} ({error.strerror}): see who may write there"
        ) from error
    click.echo(f"What was read where: {folder / OVERLAY_NAME.format(1)}", err=True)


def _earlier(folders: tuple[Path, ...]) -> list[CardEvidence]:
    earlier = []
    for folder in folders:
        try:
            stored = (folder / READING_NAME).read_bytes()
        except OSError as error:
            raise UnreadableCard(f"{folder} holds no card that was read before") from error
        card = read_card_file(folder)
        earlier.append(CardEvidence(card=card, reading=Reading.from_json(stored)))
    return earlier


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


def _meeting(meets: tuple[str, ...]) -> dict[float, float]:
    try:
        return {float(feed): float(number) for feed, number in _table(meets, "SPEED=PAIR").items()}
    except ValueError as error:
        if isinstance(error, UnreadableCard):
            raise
        raise UnreadableCard("speeds and pairs are numbers: write --meets 4000=7.5") from error
