"""From a new box to its first portrait, and to a second picture: what it costs, counted.

Real daemon, practice machine and browser; the box knows no laser, no tile and no recipe. Screens,
taps and typed figures are counted, not seconds, and printed. The first portrait is counted to its
end, the second picture until it is loaded. Pairing is not counted, nor what is done at the machine:
its button, and the new tile.

What takes long at the machine and not in the hand is small here: a card of six patches instead of
thirty-six, and a portrait in an oval on bare white. How a whole card is read, and a whole picture
comes out, is tried in `tests/darkroom` and in `test_two_machines.py`.
"""

import sys

import pytest
from PIL import Image, ImageDraw

from etchwarden.practice_session.process_group import ProcessGroup
from support.harnesses.counted_hands import CountedHands
from support.harnesses.page_bench import phone_options
from support.harnesses.phone_hands import ASTRONAUT
from support.harnesses.practice_shop import NewBox

SPEEDUP = 40.0
PATIENCE_MS = 300_000
HOURS_AGO = 26
AT_REST_AGAIN = "#watch[data-run]:is([data-scene=ended], [data-state=held])"
SMALL_CARD = {  # around what is right for the practice tile
    "place_width_mm": 60, "place_height_mm": 50, "low_feed": 1500, "high_feed": 2400, "speeds": 2,
    "low_percent": 20, "high_percent": 40, "powers": 3,
}  # fmt: skip
FACE_PX = (164, 40, 287, 187)  # left, top, right, bottom in the photograph
FIRST_PORTRAIT = (14, 35, 4)  # screens, taps, typed figures at most
SECOND_PICTURE = (5, 9, 0)


@pytest.fixture(scope="session")
def portrait(tmp_path_factory):
    """A face in an oval on bare white, which is no light to etch."""
    photograph = Image.open(ASTRONAUT).convert("RGB")
    oval, white = Image.new("L", photograph.size), Image.new("RGB", photograph.size, "white")
    ImageDraw.Draw(oval).ellipse(FACE_PX, fill=255)
    path = tmp_path_factory.mktemp("portrait") / "portrait.png"
    Image.composite(photograph, white, oval).save(path)
    return path


@pytest.fixture
def box(tmp_path):
    with ProcessGroup(tmp_path) as household:
        yield NewBox(household, tmp_path, speedup=SPEEDUP)


@pytest.fixture
def hands(chromium, box):
    with chromium.new_context(**phone_options()) as context:
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        page.goto(box.url)
        yield CountedHands(page)


def etch(hands, box):
    """Answer what is asked before a start, press the button at the machine, and see it end."""
    page = hands.page
    box.session.press_until(page.get_by_role("button", name="Get ready", disabled=False).is_visible)
    for place in page.locator("form.before input[type=checkbox]").all():
        hands.tick(place)
    for place in page.locator("form.before select").all():
        hands.choose(place, index=1)
    for place in page.locator("form.before input[inputmode=decimal]").all():
        hands.type_figure(place, HOURS_AGO)
    hands.press("button", "Get ready")
    box.session.press_until(
        page.get_by_role("button", name="Start the etch", disabled=False).is_visible
    )
    for place in page.locator("form.before input[type=checkbox]").all():
        hands.tick(place)
    hands.press("button", "Start the etch")
    page.locator(AT_REST_AGAIN).wait_for()
    assert page.locator("h1").inner_text() == "Etched", page.locator("main").inner_text()


def describe_laser_and_tile(hands):
    page = hands.page
    hands.press("link", "Describe the laser")
    hands.type_words(page.get_by_label("Name"), "my laser")
    hands.type_figure(page.get_by_label("Light output, W"), 20)
    hands.type_figure(page.get_by_label("Spot, mm"), 0.08)
    hands.press("button", "Save")
    hands.type_words(page.get_by_label("What you call it"), "white tile")
    hands.press("button", "Save")


def make_the_card_small(page):
    """Have fewer patches burnt than a person would: not counted, for nobody need touch it."""
    page.locator("details", has=page.locator("[name=low_feed]")).locator("summary").tap()
    for name, figure in SMALL_CARD.items():
        page.locator(f"[name={name}]").fill(f"{figure}")


def load_it_late(page):
    """Load the card from its own page where a busy computer took too long to lay it out."""
    late = page.get_by_role("button", name="Load it", exact=True)
    page.get_by_role("button", name="Set origin here").or_(late).first.wait_for()
    if late.is_visible():
        late.tap()


def find_the_recipe(hands, box, photo):
    page = hands.page
    page.get_by_role("button", name="Create and load it").wait_for()
    make_the_card_small(page)
    hands.press("button", "Create and load it")
    load_it_late(page)
    hands.press("button", "Set origin here")
    etch(hands, box)
    hands.press("link", "Photograph test card 1")
    hands.pick_file(page.get_by_label("Photos of this test card"), box.photograph(photo))
    hands.tick(page.get_by_label("It has cooled and was wiped"))
    hands.press("button", "Read it")
    hands.press("button", "Yes")
    hands.press("button", "Make this the recipe")


def load_a_picture(hands, photo, *, size):
    page = hands.page
    hands.pick_file(page.get_by_label("Choose a photo"), photo)
    hands.choose(page.get_by_label("Tile and size"), value=size)
    hands.press("button", "Next")
    page.wait_for_url("**/cut")
    hands.press("button", "Next")
    hands.press("button", "See every dot")
    page.get_by_role("button", name="Load it").wait_for()
    for finding in page.locator("input[name='has read']").all():
        hands.tick(finding)
    hands.press("button", "Load it")
    page.locator("h1", has_text="Loaded").wait_for()


def test_a_new_box_leads_to_the_first_portrait_and_soon_to_a_second(hands, box, portrait, tmp_path):
    describe_laser_and_tile(hands)
    find_the_recipe(hands, box, tmp_path / "card.png")
    box.lay_new_tile()
    load_a_picture(hands, portrait, size="50x50")
    etch(hands, box)
    hands.rest()
    second = CountedHands(hands.page, screens=0)
    second.press("link", "New picture")
    load_a_picture(second, portrait, size="last")

    for name, counted, most in (
        ("first portrait", hands, FIRST_PORTRAIT),
        ("second picture", second, SECOND_PICTURE),
    ):
        sys.stdout.write(f"\n{name}: {counted}\n" + "\n".join(f"  {one}" for one in counted.way))
        assert all(map(int.__le__, counted.counts, most)), counted.way
