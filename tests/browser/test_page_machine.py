"""The page *Machine* in a real browser of a phone's size: tap, type, send, see."""

from itertools import product

import pytest

from support.fakes.fake_daemon import JOB, MACHINE
from support.fakes.fake_machine import BED, WIRING
from support.harnesses.page_bench import too_small, violations

MAY = ["move_to", "move_by", "trace_outline", "set_origin", "stop"]
PLACED = {
    **JOB,
    "picture_mm": {"left_mm": 25.0, "bottom_mm": 20.0, "right_mm": 125.0, "top_mm": 120.0},
    "reach_mm": {"left_mm": 12.0, "bottom_mm": 20.0, "right_mm": 138.0, "top_mm": 120.0},
    "pointer_mm": [-20.0, 5.0],
}


@pytest.fixture
def machine(open_phone, served):
    served.daemon.tell("loaded", job=PLACED, may=MAY)
    return open_phone("/machine")


def tap_at(page, x_mm, y_mm):
    """Tap the bed at a place in the job's millimetres."""
    at = page.evaluate(
        """([x, y]) => {
            const bed = document.querySelector("svg.bed");
            const at = new DOMPoint(x, -y).matrixTransform(bed.getScreenCTM());
            return [at.x, at.y];
        }""",
        [x_mm, y_mm],
    )
    page.mouse.click(*at)


def test_a_tap_on_the_bed_says_where_and_the_head_is_sent_there(machine, served, expect):
    tap_at(machine, 200, 150)
    expect(machine.locator("[data-bed=mark]")).to_have_attribute("visibility", "visible")
    x_mm = float(machine.locator("[name=x]").input_value())

    with machine.expect_response(lambda response: response.request.method == "POST"):
        machine.get_by_role("button", name="Send the head there").tap()

    assert x_mm == pytest.approx(200, abs=2)
    assert served.daemon.said["move_to"]["x_mm"] == x_mm
    assert served.daemon.said["move_to"]["y_mm"] == pytest.approx(150, abs=2)
    assert machine.complaints == []


def test_the_head_is_sent_by_keyboard_alone(machine, served):
    machine.locator("[name=x]").focus()
    machine.keyboard.type("12.5")
    machine.keyboard.press("Tab")
    machine.keyboard.type("7")

    with machine.expect_response(lambda response: response.request.method == "POST"):
        machine.keyboard.press("Enter")

    assert served.daemon.said["move_to"] == {"x_mm": 12.5, "y_mm": 7.0}


def test_the_picture_and_the_words_follow_the_head(machine, served, expect):
    moved = {**MACHINE, "position_mm": [77.0, 33.0], "is_moving": True}

    served.daemon.tell("loaded", job=PLACED, may=["stop"], machine=moved)

    expect(machine.locator("[data-live=place]")).to_have_text("x 77.0, y 33.0 mm")
    expect(machine.locator("[data-bed=head]")).to_have_attribute("transform", "translate(77 -33)")
    expect(machine.get_by_role("button", name="Send the head there")).to_be_disabled()
    expect(machine.get_by_role("button", name="Stop the head")).to_be_enabled()


def test_an_arrow_nudges_the_head_by_the_chosen_step(machine, served):
    machine.get_by_role("radio", name="0.1 mm").check()

    with machine.expect_response(lambda response: response.request.method == "POST"):
        machine.get_by_role("button", name="Move left").tap()

    assert served.daemon.said["move_by"] == {"x_mm": -0.1, "y_mm": 0.0}
    assert machine.complaints == []


def test_the_bed_and_the_button_that_sends_the_head_are_in_one_view(machine):
    bed = machine.locator("svg.bed").bounding_box()
    send = machine.get_by_role("button", name="Send the head there").bounding_box()
    stop = machine.get_by_role("button", name="Stop the head").bounding_box()

    assert bed["y"] >= 0
    assert send["y"] + send["height"] <= stop["y"]


def test_a_contact_that_moves_changes_its_words_while_somebody_looks(machine, served, expect):
    machine.get_by_role("link", name="Wiring").tap()
    lid = {**WIRING["inputs"][0], "is_closed": False, "is_safe": False, "words": "It is open."}

    served.daemon.answers["wiring"] = {**WIRING, "inputs": [lid]}

    expect(machine.locator("[data-live='input lid']")).to_contain_text("It is open.")


def test_the_machine_can_be_moved_without_script(open_phone, served):
    served.daemon.tell("loaded", job=PLACED, may=MAY)
    page = open_phone("/machine", java_script_enabled=False)
    page.locator("[name=x]").fill("40")
    page.locator("[name=y]").fill("-3")

    with page.expect_navigation():
        page.get_by_role("button", name="Send the head there").tap()

    assert served.daemon.said["move_to"] == {"x_mm": 40.0, "y_mm": -3.0}
    assert page.url.endswith("/machine")


def test_everybody_can_use_the_page(open_phone, served, axe):
    page = open_phone("/nowhere", width_px=320)
    for is_homed, tab in product((True, False), ("", "/wiring", "/settings")):
        machine = {**MACHINE, "bed": {**BED, "is_homed": is_homed}}
        served.daemon.tell("loaded", job=PLACED, may=MAY, machine=machine)
        page.goto(f"{served.url}/machine{tab}")

        assert violations(page, axe) == [], (tab, is_homed)
        assert page.evaluate("document.documentElement.scrollWidth") == 320, (tab, is_homed)
        assert too_small(page) == [], (tab, is_homed)
