"""From card to job: G-code, sheet, the card as promised, and the card's own description."""

from dataclasses import replace
from pathlib import Path

from etchpath.errors import EtchpathError
from etchpath.writer.cards import CardOrder, write_card
from etchphoto.expected import save_expected
from etchphoto.job.folder import new_job_folder
from etchphoto.job.order import require_head_can
from etchproof.card import CARD_NAME, FOCUS, REGISTER, SPACING, Card
from etchproof.errors import UnfitCard, UnreadableCard
from etchproof.layout.drawing import draw_card
from etchproof.layout.etching import span_rows
from etchwire.catalogue.heads import Recipe
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, Sheet


def prepare_card(
    card: Card,
    *,
    folder: Path,
    is_replacing: bool = False,
    at_mm: tuple[float, float] | None = None,
) -> Sheet:
    """Make the job of `card` in `folder`, beside it `card.json`, and return its sheet.

    `at_mm` places the card's lower left corner; left out, it lies as near to the origin as the
    run-ups allow. Raise UnfitCard, or etchphoto's UnfitOrder and JobNotWritable, with a sentence.
    """
    require_head_can(card.head, _recipe_to_judge(card))
    bits = draw_card(card)
    at_x_mm, at_y_mm = at_mm or (None, None)
    order = CardOrder(
        title=title_of(card),
        head=card.head,
        recipe=replace(card.recipe, line_spacing_mm=card.spacing_mm),
        halftone=card.halftone,
        rows=card.rows,
        columns=card.columns,
        coverage=float(bits.mean()),
        is_both_directions=card.is_both_directions,
        is_register_corrected=card.kind != REGISTER,
        at_x_mm=at_x_mm,
        at_y_mm=at_y_mm,
    )
    with new_job_folder(folder, is_replacing=is_replacing) as partial:
        try:
            with (partial / GCODE_NAME).open("wb") as file:
                written = write_card(span_rows(card), file, order)
        except EtchpathError as error:
            raise UnfitCard(str(error)) from error
        sheet = replace(written, dose_j_per_mm2=card.recipe.dose_j_per_mm2(card.head))
        (partial / SHEET_NAME).write_text(sheet.to_json(), encoding="utf-8")
        (partial / CARD_NAME).write_text(card.to_json(), encoding="utf-8")
        save_expected(bits, partial / PICTURE_NAME)
    return sheet


def _recipe_to_judge(card: Card) -> Recipe:
    """Return what the head has to be able to run: on two kinds of cards lines may lie too close."""
    if card.kind not in (FOCUS, SPACING):
        return card.recipe
    spacing_mm = max(card.recipe.line_spacing_mm, card.head.spot_mm)
    return replace(card.recipe, line_spacing_mm=spacing_mm)


def title_of(card: Card) -> str:
    """Return what to call the card's job."""
    return f"{card.kind} card {card.number}"


def read_card_file(path: Path) -> Card:
    """Read `card.json`, or the one in the folder `path`; raise UnreadableCard when that fails."""
    file = path / CARD_NAME if path.is_dir() else path
    try:
        return Card.from_json(file.read_bytes())
    except OSError as error:
        raise UnreadableCard(f"no card can be read at {file}: {error.strerror}") from error
