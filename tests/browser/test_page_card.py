"""A test card on a phone: what it showed, patch by patch, for everybody to read and to tap."""

import json

import pytest

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
from etchwire.packing import pack
from support.fakes.card_book import CardBook
from support.harnesses.page_bench import LEAST_TARGET_PX, WIDTHS_PX, violations

WILLING = SURFACES["willing"]


def focus_card():
    wedge = WedgeRequest(left_mm=0, right_mm=12, length_mm=100)
    return lay_out_focus_card(wishes(number=11), RECIPE, wedge)


TILES = {
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


def lay(served, kind):
    """Have a tile in the logbook that was just read; return its page's address."""
    make, burn = TILES[kind]
    card = make()
    book = CardBook(served.daemon)
    filed = {
        "number": card.number, "kind": card.kind, "head": card.head.name,
        "surface": card.recipe.surface, "gcode_sha256": "ab" * 32,
        "layout_packed": pack(card.to_json()),
    }  # fmt: skip
    book.save_card(filed, "")
    book.burn(card.number)
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
    return f"/test-tiles/{card.number}"


@pytest.mark.parametrize("kind", TILES)
def test_what_a_tile_showed_shuts_nobody_out(open_phone, served, axe, kind):
    # WCAG 2.2 AA; 1.4.10 Reflow and 2.5.8 Target Size.
    phone = open_phone(lay(served, kind))
    widths_px = []
    for width_px in WIDTHS_PX:
        phone.set_viewport_size({"width": width_px, "height": 820})
        widths_px.append(phone.evaluate("document.documentElement.scrollWidth"))
    phone.set_viewport_size({"width": 320, "height": 820})
    targets = phone.locator("main button:visible, .tick:visible, .patch:visible").all()

    assert violations(phone, axe) == []
    assert widths_px == list(WIDTHS_PX)
    assert all(target.bounding_box()["height"] >= LEAST_TARGET_PX for target in targets)
    assert phone.complaints == []


def test_patches_are_marked_by_tapping_them(open_phone, served, expect):
    phone = open_phone(lay(served, "power"))

    phone.locator(".patch").nth(2).tap()
    phone.locator(".patch").nth(3).tap()
    phone.get_by_role("button", name="Rubs off").tap()

    patches, rubbed = phone.locator(".patch"), phone.locator(".patch", has_text="rubs off")
    for tapped in (2, 3):
        expect(patches.nth(tapped)).to_contain_text("rubs off", timeout=60_000)
    assert rubbed.count() < patches.count()  # gentler ones rub off too, stronger ones need not
