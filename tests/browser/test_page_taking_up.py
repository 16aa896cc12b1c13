"""The page *Continue this etch* in a browser: the line goes by finger, by key and by figure."""

import pytest

from support.fakes.fake_unfinished import BY_CUT, NOT_KEPT, answer_unfinished
from support.harnesses.page_bench import LEAST_TARGET_PX, keep_back, violations

PAGE = "/logbook/6/take-up-again"
KINDS = {"by eye": None, "by the cut": BY_CUT, "job gone": NOT_KEPT}


@pytest.fixture
def page(open_phone, served):
    return open_phone(PAGE)


def field(page):
    return page.get_by_role("spinbutton", name="First row that is not dark")


def on_the_tile(page, x_mm, y_mm):
    """Return where on the screen a place of the picture is, from its upper left corner."""
    return page.evaluate(
        """([x, y]) => {
            const tile = document.querySelector("svg.tile");
            tile.scrollIntoView({ block: "center" });
            const at = new DOMPoint(x, y).matrixTransform(tile.getScreenCTM());
            return [at.x, at.y];
        }""",
        [x_mm, y_mm],
    )


def test_a_tap_puts_the_line_there_and_shows_the_dots_beside_it(page, expect):
    page.mouse.click(*on_the_tile(page, 20, 70))

    row = int(field(page).input_value())
    left_mm, top_mm, width_mm, height_mm = map(
        float, page.locator("#loupe").get_attribute("viewBox").split()
    )
    assert row == pytest.approx(701, abs=3)
    assert left_mm + width_mm / 2 == pytest.approx(20, abs=0.3)
    assert top_mm + height_mm / 2 == pytest.approx((row - 1) * 0.1)
    expect(page.locator("#left")).to_contain_text(f"{1001 - row} rows")
    assert page.complaints == []


def test_the_line_is_dragged_wherever_it_is_taken_hold_of(page):
    page.mouse.move(*on_the_tile(page, 30, 42))
    page.mouse.down()
    page.mouse.move(*on_the_tile(page, 33, 62), steps=4)
    page.mouse.up()

    assert int(field(page).input_value()) == pytest.approx(613, abs=3)
    edge_mm = float(page.locator("[data-tile=etched]").get_attribute("height"))
    assert edge_mm == pytest.approx((int(field(page).input_value()) - 1) * 0.1)


def test_the_line_goes_by_keyboard_alone_and_stays_on_the_picture(page):
    line = page.get_by_role("slider", name="The line on the tile")
    line.focus()

    for key, row in (("ArrowDown", 414), ("PageUp", 404), ("End", 1000), ("ArrowDown", 1000),
                     ("Home", 1), ("ArrowUp", 1)):  # fmt: skip
        page.keyboard.press(key)
        assert field(page).input_value() == f"{row}"
    assert line.get_attribute("aria-valuetext") == "Row 1 of 1000"


def test_steps_and_figures_move_the_line(page, expect):
    page.get_by_role("button", name="10 rows down").tap()
    page.get_by_role("button", name="1 row up").tap()
    assert field(page).input_value() == "422"

    field(page).fill("500")
    expect(page.locator("[data-below]")).to_have_text("49.9")
    expect(page.locator("#left")).to_contain_text("501 rows, 100 × 50.1 mm, from row 500 on")
    field(page).fill("4000")
    field(page).blur()
    assert field(page).input_value() == "1000"


def test_a_row_typed_before_the_script_has_come_moves_the_line_too(open_phone, served, expect):
    phone = open_phone("/nowhere")
    let_it_come = keep_back(phone, "reentry.js")
    phone.goto(served.url + PAGE, wait_until="commit")

    field(phone).fill("500")
    let_it_come()

    expect(phone.locator("[data-below]")).to_have_text("49.9")
    expect(phone.locator("#left")).to_contain_text("501 rows")


def test_the_row_told_by_eye_is_put_on_the_bench(page, served):
    page.get_by_role("button", name="1 row up").tap()
    page.get_by_label("The machine is homed").check()

    page.get_by_role("button", name="Load the rest").tap()
    page.wait_for_url(served.url + "/")

    said = {"run": 6, "confirm": "origin set again", "row": 411, "accept_gap": False}
    assert served.daemon.said["reenter"] == said
    assert page.complaints == []


def test_nothing_is_put_on_the_bench_until_it_is_said_that_all_is_where_it_was(page, served):
    page.get_by_role("button", name="Load the rest").tap()

    assert page.url.endswith(PAGE)
    assert served.daemon.asked == []


def test_all_of_it_works_without_a_script(open_phone, served, expect):
    phone = open_phone(PAGE, java_script_enabled=False)

    field(phone).fill("500")
    phone.get_by_role("button", name="Show the line there").tap()
    expect(phone.locator("#left")).to_contain_text("501 rows")
    field(phone).fill("502")  # what is typed last counts, shown or not
    phone.get_by_label("The machine is homed").check()
    phone.get_by_role("button", name="Load the rest").tap()
    expect(phone.locator("h1")).to_have_text("No picture loaded")

    assert served.daemon.said["reenter"]["row"] == 501


@pytest.mark.parametrize("kind", KINDS)
def test_it_shuts_nobody_out_and_fits_the_narrowest_phone(open_phone, served, axe, kind):
    # WCAG 2.2: axe on both schemes, 1.4.10 Reflow (320 px), 2.5.8 Target Size.
    if KINDS[kind] is not None:
        served.daemon.answers["unfinished"] = answer_unfinished(KINDS[kind])
    phone = open_phone(PAGE, width_px=320)

    assert phone.evaluate("document.documentElement.scrollWidth") == 320
    targets = phone.locator(".taking-up :is(button, .tick, input[type=number], .line rect):visible")
    sizes = [target.bounding_box() for target in targets.all()]
    assert all(min(box["width"], box["height"]) >= LEAST_TARGET_PX for box in sizes)
    assert violations(phone, axe) == []
    assert phone.complaints == []
