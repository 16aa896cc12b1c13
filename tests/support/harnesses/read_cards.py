"""Test cards that were just photographed and read, for pages that show what they say."""

import json
from typing import Any, Final

from darkroom.camera import photograph
from darkroom.cards import RECIPE, power_card, register_card, tone_card, wishes
from darkroom.focus import Beam, etch_focus
from darkroom.spacing import black_lines
from darkroom.tile import SURFACES, etch, etch_hairlines
from etchproof.choosing.card_result import CardEvidence, result_of
from etchproof.layout.focus_card import WedgeRequest, lay_out_focus_card
from etchproof.layout.spacing_card import lay_out_spacing_card
from etchproof.reading.camera import read_card
from etchweb.storage.card_files import READ_NAME, CardFiles
from support.fakes.card_book import CardBook

WILLING: Final = SURFACES["willing"]


def focus_card() -> Any:
    """Return a focus card on a wedge from nothing to 12 mm."""
    wedge = WedgeRequest(left_mm=0, right_mm=12, length_mm=100)
    return lay_out_focus_card(wishes(number=11), RECIPE, wedge)


# How a card of each kind is made, and how it is burnt on an invented surface.
TILES: Final[dict[str, Any]] = {
    "power": (power_card, lambda card: etch(card, WILLING)),
    "tone": (tone_card, lambda card: etch(card, WILLING)),
    "register": (
        register_card,
        lambda card: etch_hairlines(card, WILLING, lag_s=0.0004, slack_mm=0.06),
    ),
    "focus": (focus_card, lambda card: etch_focus(card, WILLING, Beam(m_squared=12))),
    "spacing": (
        lambda: lay_out_spacing_card(wishes(number=12), RECIPE),
        lambda card: black_lines(card, 0.13),
    ),
}


def lay(served: Any, kind: str, *, is_burnt: bool = True) -> str:
    """Have a card in the logbook that is not read yet; return its page's address."""
    card = TILES[kind][0]()
    book = CardBook(served.daemon)
    book.file(card)
    if is_burnt:
        book.burn(card.number)
    return f"/test-tiles/{card.number}"


def lay_read(served: Any, kind: str) -> str:
    """Have a card in the logbook that was just read; return its page's address."""
    address = lay(served, kind)
    make, burn = TILES[kind]
    card = make()
    reading, _ = read_card([photograph(burn(card))], [card], is_wiped=True)
    told = result_of(CardEvidence(card=card, reading=reading))
    known = {"reading": reading.to_json(), "overlays": [], "marks": {}, "meets": {}}
    files = CardFiles.of(served.app.extensions["etchweb"].pictures.parent, card.number)
    key = files.question(known)
    read = {
        **known, "of": key, "way": "camera", "told": told.table, "summary": told.summary,
        "recommended": told.recommended,
    }  # fmt: skip
    (files.folder / READ_NAME).write_text(json.dumps(read))
    return address
