"""The page *All boxes* in a real browser: every box at first sight, on the narrowest phone too."""

import pytest

from support.fakes.fleet_boxes import SHOP, FakeWatcher, fleet_on
from support.harnesses.page_bench import LEAST_TARGET_PX, violations

AWAY = "The connection to the broker at 192.168.0.10 is lost."


@pytest.fixture
def fleet(served):
    with fleet_on(served.app, FakeWatcher()) as watcher:
        yield watcher


def test_one_sees_who_etches_how_far_and_who_needs_somebody(open_phone, fleet, expect):
    phone = open_phone("/fleet")

    expect(phone.get_by_role("status")).to_have_text(
        "1 box is etching; attic, cellar, yard need somebody."
    )
    left = phone.get_by_role("listitem").filter(has=phone.get_by_role("link", name="left"))
    expect(left.get_by_role("progressbar")).to_have_js_property("value", 43)
    expect(left).to_contain_text("All interlocks are good. 212 h 27 min of beam time.")
    assert phone.locator(".calls h2").all_inner_texts() == ["attic", "cellar", "yard"]
    assert phone.complaints == []


def test_the_page_follows_the_boxes_without_being_loaded_anew(open_phone, fleet, expect):
    phone = open_phone("/fleet")
    phone.evaluate("window.isStillHere = true")

    fleet.tell("right", of="etching")

    expect(phone.get_by_role("status")).to_contain_text("2 boxes are etching")
    assert phone.evaluate("window.isStillHere")


def test_a_broker_that_is_away_is_told_and_the_boxes_stay_as_they_were(open_phone, fleet, expect):
    fleet.trouble = AWAY
    phone = open_phone("/fleet")

    expect(phone.get_by_text(AWAY)).to_be_visible()
    assert phone.get_by_role("heading", level=2).count() == len(SHOP)


@pytest.mark.parametrize("trouble", [None, AWAY])
def test_it_fits_the_narrowest_phone_and_the_widest_finger_and_shuts_nobody_out(
    open_phone, fleet, axe, trouble
):
    # WCAG 2.2, 1.4.10 Reflow (320 px) and 2.5.8 Target Size.
    fleet.trouble = trouble
    phone = open_phone("/fleet", width_px=320)

    boxes = [link.bounding_box() for link in phone.locator("main a").all()]

    assert phone.evaluate("document.documentElement.scrollWidth") == 320
    assert min(min(box["width"], box["height"]) for box in boxes) >= LEAST_TARGET_PX
    assert violations(phone, axe) == []
