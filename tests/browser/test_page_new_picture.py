"""*New picture* in a real browser of a phone's size, with a real photograph."""

import re
from functools import partial

import numpy as np
import pytest
from PIL import Image

from etchphoto.expected import FIRED_BLACK, TILE_WHITE
from etchphoto.light import linear_to_srgb, luminance, srgb_to_linear
from etchphoto.retouching import Oval, Retouching
from etchphoto.tone import Adjustments, coverage_to_burn
from support.fakes.catalogue_answers import craft, head_entry
from support.harnesses.page_bench import LEAST_TARGET_PX, keep_back, violations
from support.harnesses.picture_bench import (
    ALL_OF_IT,
    draft_sized,
    draft_taken,
    draft_to_proof,
    draft_tried,
)
from support.samples.photo_files import PHOTOGRAPHS, encoded, scene

ASTRONAUT = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
PATIENCE_MS = 60_000
LARGEST_VIEW_BYTES = 60_000
SIZE = {"width_mm": 30, "height_mm": 20}
BROUGHT_TO = {
    "tile": draft_taken,
    "cut": partial(draft_sized, **SIZE),
    "look": partial(draft_tried, cut=ALL_OF_IT, **SIZE),
    "proof": partial(draft_to_proof, cut=ALL_OF_IT, **SIZE),
}


@pytest.fixture
def served(served):
    served.daemon.answers |= craft()
    return served


def choose(phone, data, name="photo.jpg"):
    """Choose a photo on the first step and go on."""
    phone.get_by_label("Choose a photo").set_input_files(
        {"name": name, "mimeType": "image/jpeg", "buffer": data}
    )
    phone.get_by_role("button", name="Next").tap()


def draft_at(phone, served, step):
    """Open a small photo's draft at `step`, and return its address without the step."""
    photo = served.app.extensions["etchweb"].pictures.parent / "photo.jpg"
    photo.write_bytes(encoded(scene(300, 200), "JPEG"))
    address = served.url + BROUGHT_TO[step](served.app, photo)
    phone.goto(f"{address}/{step}")
    return address


def fill_size(phone, width, height):
    phone.get_by_label("Width, mm").fill(width)
    phone.get_by_label("Height, mm").fill(height)


def test_a_photograph_goes_from_the_phone_to_the_bench(open_phone, served, expect):
    phone = open_phone("/")
    phone.get_by_role("link", name="New picture").first.tap()
    choose(phone, ASTRONAUT.read_bytes(), name="astronaut.png")

    expect(phone.get_by_role("heading", name="The tile")).to_be_visible(timeout=PATIENCE_MS)
    phone.get_by_label("Link width and height").uncheck()
    fill_size(phone, "40", "50")
    phone.get_by_role("radio", name="practice tile").check()
    phone.get_by_role("button", name="Next").tap()
    phone.wait_for_url("**/cut")
    phone.get_by_role("button", name="Zoom in").tap()
    phone.get_by_role("button", name="Next").tap()
    phone.wait_for_url("**/look")
    phone.get_by_role("radio", name="Photo, crisp").check()
    phone.get_by_role("slider", name="Contrast", exact=True).fill("25")
    phone.get_by_role("button", name="See every dot").tap()
    phone.wait_for_url("**/proof")
    expect(phone.get_by_text("40 × 50 mm")).to_be_visible(timeout=PATIENCE_MS)
    phone.get_by_text("Dot by dot").tap()
    expect(phone.get_by_role("region", name="Every dot")).to_be_visible()
    phone.get_by_role("button", name="Load it").tap()
    phone.wait_for_url(re.compile(r":\d+/$"))

    sheet = served.daemon.said["load"]["sheet"]
    assert (sheet.title, sheet.columns, sheet.rows) == ("astronaut", 400, 500)
    assert sheet.halftone == "floyd-steinberg"
    assert phone.complaints == []


def test_the_whole_way_works_without_script(open_phone, served):
    phone = open_phone("/new", java_script_enabled=False)

    choose(phone, encoded(scene(300, 200), "JPEG"))
    fill_size(phone, "30", "20")
    phone.get_by_role("button", name="Next").tap()
    phone.wait_for_url("**/cut")
    phone.get_by_role("button", name="Next").tap()
    phone.get_by_role("button", name="See every dot").tap()
    phone.get_by_label("Right of the origin").fill("60")
    phone.get_by_role("button", name="Place here").tap()
    phone.get_by_role("button", name="Load it").tap()

    phone.wait_for_url(re.compile(r":\d+/$"))
    assert served.daemon.said["load"]["sheet"].picture.left_mm == 60


def test_a_bad_photo_is_told_where_the_person_is(open_phone, served, expect):
    phone = open_phone("/new")

    choose(phone, b"no photo at all")

    expect(phone.get_by_role("alert")).to_contain_text("is not a JPEG", timeout=PATIENCE_MS)
    assert phone.url.endswith("/new")


def test_a_photo_that_is_too_large_never_leaves_the_phone(open_phone, served, expect, tmp_path):
    phone = open_phone("/new")
    with (tmp_path / "large.jpg").open("wb") as file:
        file.truncate(41_000_000)

    phone.get_by_label("Choose a photo").set_input_files(tmp_path / "large.jpg")
    phone.get_by_role("button", name="Next").tap()

    expect(phone.get_by_role("alert")).to_contain_text("has 41 MB, and the box takes 40")


def figures(phone):
    form = phone.locator("#cut-form")
    return {
        name: float(form.locator(f"[name={name}]").input_value())
        for name in ("left", "top", "wide")
    }


def test_the_cut_moves_with_a_finger_and_its_corner_sizes_it(open_phone, served):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "cut")
    phone.get_by_role("button", name="Zoom in").tap()
    before = figures(phone)
    box = phone.locator("[data-edge]").bounding_box()

    drag(phone, (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2), (8, 5))
    moved = figures(phone)
    corner = phone.locator("[data-corner=se]").bounding_box()
    drag(phone, (corner["x"] + corner["width"] / 2, corner["y"] + corner["height"] / 2), (-60, -40))
    sized = figures(phone)

    assert moved["left"] > before["left"]
    assert moved["top"] > before["top"]
    assert moved["wide"] == before["wide"]
    assert sized["wide"] < moved["wide"] - 5
    assert (sized["left"], sized["top"]) == (moved["left"], moved["top"])


def drag(phone, start, way):
    phone.mouse.move(*start)
    phone.mouse.down()
    phone.mouse.move(start[0] + way[0] / 2, start[1] + way[1] / 2)
    phone.mouse.move(start[0] + way[0], start[1] + way[1])
    phone.mouse.up()


def test_the_cut_obeys_keys(open_phone, served):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "cut")
    phone.locator("#cut").focus()

    for _ in range(4):
        phone.keyboard.press("-")
    smaller = figures(phone)
    phone.keyboard.press("ArrowLeft")
    phone.keyboard.press("ArrowUp")
    moved = figures(phone)

    assert smaller["wide"] < 90
    assert moved["left"] < smaller["left"]
    assert moved["top"] < smaller["top"]


def test_a_turn_shows_the_photo_on_its_side(open_phone, served, expect):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "cut")

    phone.get_by_role("button", name="Turn right").tap()

    expect(phone.locator("#cut")).to_have_attribute("data-width", "200")
    expect(phone.locator("#cut")).to_have_attribute("data-height", "300")


def test_the_tones_seen_are_those_that_are_burnt(open_phone, served, expect):
    phone = open_phone("/nowhere")
    address = draft_at(phone, served, "look")
    expect(phone.locator("body")).to_have_attribute("data-is-alive", "yes")
    wishes = {
        "Lighter or darker": 30, "Contrast": 40, "Local contrast": 50, "Sharpness": 60,
        "Open the shadows": 70, "Lighten the oval": 80, "Fade the background to white": 60,
    }  # fmt: skip
    for name, value in wishes.items():
        phone.get_by_role("slider", name=name, exact=True).fill(str(value))
    phone.evaluate("() => new Promise(done => requestAnimationFrame(() => setTimeout(done)))")

    seen = phone.evaluate(
        "() => { const c = document.getElementById('tile-canvas');"
        " return [c.width, c.height, [...c.getContext('2d').getImageData(0, 0, c.width, c.height)"
        ".data]] }"
    )
    shown = np.array(seen[2], dtype=np.uint8).reshape(seen[1], seen[0], 4)[..., :3]
    folder = served.app.extensions["etchweb drafts"].folder_of(address.rsplit("/", 1)[1])
    light = luminance(np.asarray(Image.open(folder / "cut-eye.jpg").convert("L")))
    adjustments = Adjustments(
        gamma=2 ** (30 / 60), contrast=2 ** (40 / 60), local_contrast=1.0, sharpness=1.2,
        open_shadows=70,
    )  # fmt: skip
    retouching = Retouching(oval=Oval(0.5, 0.4, 0.2, 0.25), lightening=80, fade=60)
    share = coverage_to_burn(light, adjustments, retouching=retouching)[..., np.newaxis]
    white, black = (srgb_to_linear(np.array(colour) / 255) for colour in (TILE_WHITE, FIRED_BLACK))
    burnt = linear_to_srgb(white + share * (black - white)) * 255
    assert np.abs(shown - burnt).max() < 3  # two decoders of one JPEG, and 2048 steps of grey
    said = phone.locator("[data-burnt]").inner_text()
    assert abs(int(said.split(" %")[0]) - share.mean() * 100) < 1.5


def test_a_finger_draws_the_oval_that_is_lightened(open_phone, served, expect):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "look")
    expect(phone.locator("body")).to_have_attribute("data-is-alive", "yes")
    phone.get_by_role("button", name="Draw an oval round the face").tap()
    box = phone.locator("#tile-canvas").bounding_box()
    start = (box["x"] + box["width"] * 0.2, box["y"] + box["height"] * 0.3)

    drag(phone, start, (box["width"] * 0.4, box["height"] * 0.5))

    values = [
        phone.locator(f"[name=oval_{side}]").input_value() for side in ("x", "y", "wide", "high")
    ]
    assert list(map(float, values)) == pytest.approx([40, 55, 40, 50], abs=1)
    assert phone.get_by_role("slider", name="Lighten the oval").input_value() == "40"
    assert phone.locator("[data-draw]").get_attribute("aria-pressed") == "false"
    expect(phone.locator(".oval-sheet")).to_be_visible()


def test_a_press_compares_with_the_photo_as_it_came_and_a_reset_goes_back_to_it(
    open_phone, served, expect
):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "look")
    expect(phone.locator("body")).to_have_attribute("data-is-alive", "yes")
    drawn = "document.getElementById('tile-canvas').toDataURL()"
    as_it_came = phone.evaluate(drawn)
    phone.get_by_role("slider", name="Contrast", exact=True).fill("60")
    phone.wait_for_function(f"before => {drawn} !== before", arg=as_it_came)
    changed = phone.evaluate(drawn)

    box = phone.get_by_role("button", name="Press to compare").bounding_box()
    phone.mouse.move(box["x"] + 9, box["y"] + 9)
    phone.mouse.down()
    assert phone.evaluate(drawn) == as_it_came
    phone.mouse.up()
    assert phone.evaluate(drawn) == changed
    phone.get_by_role("button", name="Reset").tap()

    assert phone.evaluate(drawn) == as_it_came
    assert phone.get_by_role("slider", name="Contrast", exact=True).input_value() == "0"


def test_the_tile_stays_in_view_while_sliders_are_moved(open_phone, served, expect):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "look")
    expect(phone.locator("body")).to_have_attribute("data-is-alive", "yes")
    slider = phone.get_by_role("slider", name="Fade the background to white")

    slider.focus()

    tile, moved = phone.locator("#tile-canvas").bounding_box(), slider.bounding_box()
    assert tile["y"] >= 0
    assert tile["y"] + tile["height"] < moved["y"] < 820


def test_width_and_height_keep_the_photos_shape_until_they_are_parted(open_phone, served):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "tile")
    width, height = phone.get_by_label("Width, mm"), phone.get_by_label("Height, mm")

    width.fill("30")
    assert height.input_value() == "20"
    height.fill("40")
    assert width.input_value() == "60"
    phone.get_by_label("Link width and height").uncheck()
    width.fill("33")

    assert height.input_value() == "40"


def test_a_chosen_photo_is_seen_before_it_is_sent(open_phone, served, expect):
    phone = open_phone("/new")
    data = encoded(scene(300, 200), "JPEG")

    phone.get_by_label("Choose a photo").set_input_files(
        {"name": "photo.jpg", "mimeType": "image/jpeg", "buffer": data}
    )

    chosen = phone.get_by_role("img", name="The chosen photo")
    expect(chosen).to_be_visible()
    assert chosen.evaluate("one => [one.width, one.height]") == [480, 320]
    assert phone.complaints == []


def test_another_mix_of_colours_is_seen_at_once(open_phone, served, expect):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "look")
    expect(phone.locator("body")).to_have_attribute("data-is-alive", "yes")
    whole = "() => document.getElementById('tile-canvas').toDataURL()"
    before = phone.evaluate(whole)

    phone.get_by_role("radio", name="Reds lighter").check()

    phone.wait_for_function(f"before => ({whole})() !== before", arg=before)


def test_a_tap_on_the_bed_lays_the_middle_of_the_picture_there(open_phone, served):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "proof")
    phone.wait_for_load_state()
    bed = phone.locator("#place svg")
    left, right, bottom, top = (
        float(bed.get_attribute(f"data-{side}-mm")) for side in ("left", "right", "bottom", "top")
    )
    box = bed.bounding_box()

    bed.tap(position={"x": box["width"] / 2, "y": box["height"] / 2})

    x_mm = float(phone.get_by_label("Right of the origin").input_value())
    y_mm = float(phone.get_by_label("Above the origin").input_value())
    middle = ((left + right) / 2 - 15, (bottom + top) / 2 - 10)
    assert (x_mm, y_mm) == pytest.approx(middle, abs=8)


def test_a_place_typed_before_the_script_has_come_is_shown_on_the_bed(open_phone, served, expect):
    phone = open_phone("/nowhere")
    draft_at(phone, served, "proof")
    let_it_come = keep_back(phone, "proof.js")
    phone.goto(phone.url, wait_until="commit")

    phone.get_by_label("Right of the origin").fill("12.5")
    let_it_come()

    expect(phone.locator("#place [data-bed=picture]")).to_have_attribute("x", "12.5")


@pytest.mark.parametrize("step", BROUGHT_TO)
def test_no_step_shuts_anybody_out_and_each_fits_the_narrowest_phone(open_phone, served, axe, step):
    # WCAG 2.2 AA; 1.4.10 Reflow (320 px) and 2.5.8 Target Size.
    wide = head_entry(is_spot_measured=False, spot_y_mm=0.2)
    served.daemon.answers["heads"] = {"heads": [wide]}
    phone = open_phone("/new", width_px=320)

    draft_at(phone, served, step)

    assert violations(phone, axe) == []
    assert phone.evaluate("document.documentElement.scrollWidth") == 320
    places = phone.locator("main button:visible, .tick:visible, .kind:visible, summary:visible")
    assert all(place.bounding_box()["height"] >= LEAST_TARGET_PX for place in places.all())
    assert phone.complaints == []


def test_the_first_step_shuts_nobody_out(open_phone, served, axe):
    phone = open_phone("/new", width_px=320)
    draft_at(phone, served, "tile")
    phone.goto(phone.url.split("/new")[0] + "/new")

    assert violations(phone, axe) == []
    assert phone.evaluate("document.documentElement.scrollWidth") == 320


def test_the_first_view_of_new_picture_is_small(open_phone, served):
    phone = open_phone("/nowhere")
    sizes = []
    phone.on("requestfinished", lambda request: sizes.append(request.sizes()))

    phone.goto(served.url + "/new", wait_until="load")

    assert sum(size["responseBodySize"] for size in sizes) < LARGEST_VIEW_BYTES
