"""Every step of the path on a phone, on a box that knows nothing: for everybody, at any width."""

import pytest

from support.fakes.catalogue_answers import SURFACE, craft, head_entry, recipe, surface_entry
from support.fakes.fake_daemon import LOGBOOK
from support.harnesses.page_bench import WIDTHS_PX, violations

LEAST_TARGET_PX = 48
STEPS = {
    "home": "/",
    "laser": "/lasers",
    "tile and paint": "/tiles-and-paints",
    "test card": "/test-tiles/new",
    "picture": "/new",
}


@pytest.fixture
def new_box(served):
    served.daemon.answers |= craft() | {
        "heads": {"heads": []},
        "surfaces": {"surfaces": []},
        "recipes": {"recipes": []},
        "runs": {**LOGBOOK["runs"], "runs": []},
    }
    return served


@pytest.mark.parametrize("step", STEPS)
def test_no_step_shuts_anybody_out_and_each_fits_at_twice_the_letters(
    open_phone, new_box, axe, step
):
    # WCAG 2.2 AA; 1.4.4 Resize Text (200 %), 1.4.10 Reflow (320 px), 2.5.8 Target Size.
    phone = open_phone(STEPS[step])
    for summary in phone.locator("main summary").all():
        summary.tap()
    widths_px = []
    for width_px in WIDTHS_PX:
        phone.set_viewport_size({"width": width_px, "height": 820})
        widths_px.append(phone.evaluate("document.documentElement.scrollWidth"))
    phone.set_viewport_size({"width": 320, "height": 820})
    targets = phone.locator(
        "main button:visible, main summary:visible, main a.button:visible"
    ).all()
    heights_px = [target.bounding_box()["height"] for target in targets]
    found = violations(phone, axe)
    phone.evaluate("document.documentElement.style.fontSize = '200%'")

    assert found == []
    assert widths_px == list(WIDTHS_PX)
    assert min(heights_px, default=LEAST_TARGET_PX) >= LEAST_TARGET_PX
    assert phone.evaluate("document.documentElement.scrollWidth") == 320
    assert phone.complaints == []


def test_the_path_leads_without_script(open_phone, new_box, expect):
    phone = open_phone("/", java_script_enabled=False)

    phone.get_by_role("link", name="Describe the laser").tap()
    expect(phone.get_by_label("Name")).to_be_visible()
    new_box.daemon.answers["heads"] = {"heads": [head_entry()]}
    phone.goto(new_box.url)
    phone.get_by_role("link", name="Name tile and paint").tap()
    expect(phone.get_by_label("What you call it")).to_be_visible()
    new_box.daemon.answers["surfaces"] = {"surfaces": [surface_entry(SURFACE.to_table())]}
    phone.goto(new_box.url)
    phone.get_by_role("link", name="Make a test card").tap()
    expect(phone.get_by_role("button", name="Create and load it")).to_be_visible()
    new_box.daemon.answers["recipes"] = {"recipes": [recipe()]}
    phone.goto(new_box.url)
    phone.get_by_role("link", name="Etch the first picture").tap()

    expect(phone.get_by_label("Tile and size")).to_be_visible()
