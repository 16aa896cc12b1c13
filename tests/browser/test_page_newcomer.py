"""Every step of the path on a phone, on a box that knows nothing: for everybody, at any width."""

import pytest

from etchweb.storage.made_from import keep_made_from
from support.fakes.catalogue_answers import SURFACE, craft, head_entry, recipe, surface_entry
from support.fakes.fake_catalogue import answer_history
from support.fakes.fake_daemon import LOGBOOK, MACHINE, SHA256
from support.harnesses.page_bench import LEAST_TARGET_PX, WIDTHS_PX, violations

TARGETS = ("main button", "main summary", "main a.button")
STEPS = ("/", "/lasers", "/tiles-and-paints", "/test-tiles/new", "/new")


@pytest.fixture
def new_box(served):
    served.daemon.answers |= craft() | {
        "heads": {"heads": []},
        "surfaces": {"surfaces": []},
        "recipes": {"recipes": []},
        "runs": {**LOGBOOK["runs"], "runs": []},
    }
    return served


def require_fit_for_everybody(phone, axe):
    """Hold a page to WCAG 2.2 AA with everything on it unfolded.

    1.4.4 Resize Text (200 %), 1.4.10 Reflow (320 px), 2.5.8 Target Size.
    """
    phone.evaluate("document.querySelectorAll('main details').forEach((one) => (one.open = true))")
    widths_px = []
    for width_px in WIDTHS_PX:
        phone.set_viewport_size({"width": width_px, "height": 820})
        widths_px.append(phone.evaluate("document.documentElement.scrollWidth"))
    phone.set_viewport_size({"width": 320, "height": 820})
    targets = phone.locator(f":is({', '.join(TARGETS)}):visible").all()
    heights_px = [target.bounding_box()["height"] for target in targets]
    found = violations(phone, axe)
    phone.evaluate("document.documentElement.style.fontSize = '200%'")

    assert found == [], phone.url
    assert widths_px == list(WIDTHS_PX), phone.url
    assert min(heights_px, default=LEAST_TARGET_PX) >= LEAST_TARGET_PX, phone.url
    assert phone.evaluate("document.documentElement.scrollWidth") == 320, phone.url
    assert phone.complaints == []


def test_no_step_shuts_anybody_out_and_each_fits_at_twice_the_letters(open_phone, new_box, axe):
    phone = open_phone("/")
    for step in STEPS:
        phone.goto(new_box.url + step)
        require_fit_for_everybody(phone, axe)


def test_the_bench_with_an_origin_to_set_and_a_recipe_to_test_shuts_nobody_out(
    open_phone, served, axe
):
    served.daemon.answers["history"] = lambda **asked: {
        **answer_history(**asked), "beam_h_since_card": 41.0,
    }  # fmt: skip
    unknown = {"is_known": False, "epoch": 3, "sentence": "Set the origin.", "again": None}
    served.daemon.tell("loaded", may=["arm", "set_origin"], machine={**MACHINE, "origin": unknown})
    phone = open_phone("/")
    assert phone.get_by_role("button", name="Set origin here").is_visible()
    assert phone.get_by_text("more than 40 hours").is_visible()

    require_fit_for_everybody(phone, axe)


def test_the_same_again_shuts_nobody_out(open_phone, served, axe):
    keep_made_from(served.app.extensions["etchweb"].pictures.parent, SHA256, [])
    phone = open_phone("/logbook/7")
    assert phone.get_by_role("button", name="The same again").is_visible()

    require_fit_for_everybody(phone, axe)


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
