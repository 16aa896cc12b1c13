"""Test cards on the page: made, put on the bench, read by camera and hand, chosen from."""

import html
import io
import json
import re
import time
from functools import cache
from urllib.parse import parse_qsl, urlencode

import pytest
from PIL import Image

from darkroom.camera import LARGE, photograph
from darkroom.focus import Beam, etch_focus
from darkroom.spacing import black_lines
from darkroom.tile import SURFACES, etch, etch_hairlines, not_wiped
from etchproof.card import UNGLAZED_BACK
from etchproof.layout.job import read_card_file
from etchweb.cards import views
from etchweb.cards.step_views import NOT_READ_BEFORE
from etchweb.previews.store import THUMB_PX
from etchweb.server.picker import NO_PHOTO
from etchweb.text.formatting import as_sentence
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_SURFACES
from etchwire.packing import unpack
from support.fakes.card_book import CardBook
from support.fakes.catalogue_answers import HEAD, craft, recipe
from support.fakes.catalogue_answers import SURFACE as SURFACE_ENTRY
from support.fakes.fake_daemon import TOO_LATE

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("waiting_for_work")]

SURFACE = SURFACES["willing"]
PAIR = json.dumps([PRACTICE_HEADS["practice-20w"].name, PRACTICE_SURFACES[0].name])
PLACE = {"place_width_mm": "110", "place_height_mm": "110", "spacing_mm": "0.1"}
PATIENCE_S = 120.0
TAKEN_OVER = 'name="choose" value="yes"'  # the button that makes a reading the recipe


@cache
def photo_of(card):
    """Return the photo of a burnt card, which several tests go on with."""
    return photograph(etch(card, SURFACE)).getvalue()


@pytest.fixture
def book(daemon):
    return CardBook(daemon)


class Bench:
    """A person at the page with a test card in hand."""

    def __init__(self, phone, app, folder):
        self.phone = phone
        self.app = app
        self.folder = folder

    def make(self, **form):
        made = self.phone.press("test-tiles/new", form={"pair": PAIR, **PLACE, **form})
        assert made.status_code == 303, made.text
        return self.look(made.location)

    def look(self, address="/test-tiles/1"):
        """Look at a page until the work that it shows is over."""
        deadline_s = time.monotonic() + PATIENCE_S
        while "Working on it" in (page := self.phone.look(address)).text:
            assert time.monotonic() < deadline_s, page.text
            work = self.app.extensions["etchweb works"].of("card-1")
            assert work.over.wait(PATIENCE_S)
        return page

    @property
    def card(self):
        return read_card_file(self.folder / "test-tiles" / "card-1" / "job")

    def put_on_bench(self, book):
        assert self.phone.press("test-tiles/1/bench").location == "/"
        book.burn(1)

    def send(self, *photos, wiped="yes"):
        named = [(photo, "tile.jpg" if photo.getbuffer().nbytes else "") for photo in photos]
        form = {"photo": named, "wiped": wiped}
        return self.phone.press("test-tiles/1/photos", form=form)

    def read(self, *photos):
        answer = self.send(*photos)
        assert answer.status_code == 303, answer.text
        return self.look()


@pytest.fixture
def bench(phone, app, tmp_path, book):
    return Bench(phone, app, tmp_path)


def test_from_a_first_test_tile_to_a_recipe(bench, book, daemon):
    page = bench.make(finds="power")
    assert "Test card 1" in page.text
    bench.put_on_bench(book)
    assert daemon.said["load"]["sheet"].gcode_sha256 == book.cards[1]["gcode_sha256"]
    assert unpack(book.cards[1]["layout_packed"]) == bench.card.to_json()

    page = bench.read(io.BytesIO(photo_of(bench.card)))
    assert "What it showed" in page.text
    overlay = re.search(r'src="(/test-tiles/1/read-[^"]+)"', page.text)[1]
    with bench.phone.look(overlay) as photo:
        assert photo.mimetype == "image/jpeg"
    assert "fingernail?" in page.text
    assert TAKEN_OVER not in page.text
    too_early = bench.phone.press("test-tiles/1/choose", form={"choose": "yes"})
    assert too_early.status_code == 422
    to_try = re.search(r'type="hidden" name="patch" value="([^"]+)"', page.text)[1]
    bench.phone.press("test-tiles/1/marks", form={"mark": "could not tell", "patch": to_try})
    page = bench.look()
    feed, percent = (
        re.search(rf'name="{name}"[^>]*value="([^"]+)"', page.text)[1]
        for name in ("feed", "percent")
    )

    bench.phone.press(
        "test-tiles/1/choose", form={"choose": "yes", "feed": feed, "percent": percent}
    )

    ((reading, chosen),) = book.accepted
    assert chosen["recipe"]["feed_mm_per_min"] == float(feed)
    assert book.readings[reading - 1]["marks"] == {to_try: "could not tell"}
    assert book.readings[reading - 1]["summary"]["lightness_at_recipe"] < 50
    after = bench.look()
    assert f'src="{overlay}"' in after.text  # for ever, also after accepting
    assert "Read by camera and hand: lightness" in after.text
    assert re.search(r"<strong>\d+</strong>", after.text)  # its patches keep their figures


def test_a_test_card_that_would_end_after_closing_time_says_so(bench, daemon):
    daemon.answers["confirmations"] = {"stays": TOO_LATE, "too_late": TOO_LATE}

    page = bench.make(finds="register").text

    assert page.index(TOO_LATE) < page.index("Load it")


def test_a_test_card_is_made_and_loaded_by_one_button(bench, book, daemon):
    form = {"pair": PAIR, **PLACE, "finds": "power", "then": "load"}

    made = bench.phone.press("test-tiles/new", form=form)

    assert made.location == "/"
    assert daemon.said["load"]["sheet"].gcode_sha256 == book.cards[1]["gcode_sha256"]


def test_a_check_strip_answers_and_its_speed_is_taken_over(bench, book):
    page = bench.make(finds="check")
    assert "20 × 100 mm" in page.text
    assert "min" in page.text  # how long it takes is told before
    bench.put_on_bench(book)
    assert book.cards[1]["kind"] == "check"

    page = bench.read(io.BytesIO(photo_of(bench.card)))
    assert re.search("Yes, the recipe holds|Shifted: the recipe gets", page.text)
    to_try = re.search(r'type="hidden" name="patch" value="([^"]+)"', page.text)[1]
    assert bench.phone.press("test-tiles/1/choose", form={"choose": "yes"}).status_code == 422
    bench.phone.press("test-tiles/1/marks", form={"mark": "good", "patch": to_try})
    page = bench.look()
    assert re.search("Use [0-9  ]+ mm/min from now on", page.text)
    bench.phone.press("test-tiles/1/choose", form={"choose": "yes"})

    ((reading, chosen),) = book.accepted
    summary = book.readings[reading - 1]["summary"]
    assert chosen["recipe"]["feed_mm_per_min"] == summary["feed_mm_per_min"]
    assert summary["answer"] in ("yes", "shifted")


def test_a_reserve_card_tells_the_reserve_and_its_recipe_is_taken_over(bench, book):
    page = bench.make(finds="reserve")
    assert "Check strip" in page.text
    bench.put_on_bench(book)

    page = bench.read(io.BytesIO(photo_of(bench.card)))
    to_try = re.search(r'type="hidden" name="patch" value="([^"]+)"', page.text)[1]
    bench.phone.press("test-tiles/1/marks", form={"mark": "good", "patch": to_try})
    page = bench.look()
    bench.phone.press("test-tiles/1/choose", form={"choose": "yes"})

    assert "the reserve measured on this tile is" in page.text
    ((reading, chosen),) = book.accepted
    assert "recipe" in chosen
    assert book.readings[reading - 1]["summary"]["reserve_percent"] >= 3


def test_a_worn_strip_is_compared_with_what_was_filed_of_it(bench, book):
    bench.make(finds="check")
    bench.put_on_bench(book)
    picture = photo_of(bench.card)
    worn = {"photo": [(io.BytesIO(picture), "tile.jpg")], "wiped": "yes", "treatment": "freezing"}
    too_early = bench.phone.press("test-tiles/1/photos", form={**worn, "cycles": "4"})
    bench.read(io.BytesIO(picture))
    bench.phone.press("test-tiles/1/choose", form={"choose": "no"})

    worn["photo"] = [(io.BytesIO(picture), "tile.jpg")]
    bench.phone.press("test-tiles/1/photos", form={**worn, "cycles": "4"})
    page = bench.look()
    bench.phone.press("test-tiles/1/choose", form={"choose": "no"})

    assert too_early.status_code == 422
    assert NOT_READ_BEFORE in too_early.text
    assert "After 4 cycles of freezing: no loss that a photo shows" in page.text
    assert book.readings[1]["summary"]["trial"] == "freezing"
    assert book.accepted == []


def test_a_word_by_hand_moves_the_recommendation_and_is_kept(bench, book):
    bench.make(finds="power")
    bench.put_on_bench(book)
    bench.read(io.BytesIO(photo_of(bench.card)))
    before = bench.folder / "test-tiles" / "card-1" / "read.json"
    chosen = json.loads(before.read_bytes())["told"]["choice"]["cell"]

    bench.phone.press("test-tiles/1/marks", form={"mark": "rubs off", "patch": chosen})
    page = bench.look()
    bench.phone.press("test-tiles/1/choose", form={"choose": "no"})

    assert "rubs off" in page.text
    assert book.readings[0]["marks"] == {chosen: "rubs off"}
    assert book.readings[0]["way"] == "both"
    assert book.accepted == []


def test_without_a_camera_hands_are_enough(bench, book):
    bench.make(finds="power")
    bench.put_on_bench(book)
    cell = next(iter(bench.card.cells()))

    bench.phone.press("test-tiles/1/marks", form={"mark": "good", "patch": cell})
    page = bench.look()

    assert TAKEN_OVER in page.text


@pytest.mark.parametrize("is_measured", [True, False])
def test_a_new_recipe_says_that_it_leaves_measured_greys_behind(bench, book, daemon, is_measured):
    bench.make(finds="power")
    bench.put_on_bench(book)
    curve = {"wanted": [0, 1], "to_burn": [0, 1]} if is_measured else None
    daemon.answers["recipes"] = craft(recipe(tone_curve=curve))["recipes"]

    cell = next(iter(bench.card.cells()))
    bench.phone.press("test-tiles/1/marks", form={"mark": "good", "patch": cell})

    assert ("Greys were measured with the recipe before" in bench.look().text) is is_measured


def test_greys_read_by_camera_become_the_tone_curve(bench, book):
    bench.make(finds="tone")
    bench.put_on_bench(book)
    page = bench.read(io.BytesIO(photo_of(bench.card)))
    assert TAKEN_OVER in page.text

    bench.phone.press("test-tiles/1/choose", form={"choose": "yes"})

    assert book.accepted[0][1]["recipe"]["tone_curve"]["wanted"][-1] == 1


def test_greys_without_black_are_used_only_once_a_wet_cloth_stays_clean(bench, book):
    """Paint that is left evenly shows by nothing else, so a person is asked before it counts."""
    bench.make(finds="tone")
    bench.put_on_bench(book)
    page = bench.read(photograph(not_wiped(etch(bench.card, SURFACE), haze=0.0)))
    assert "Was it wiped?" in page.text
    assert "takes nothing more" in page.text

    refused = bench.phone.press("test-tiles/1/choose", form={"choose": "yes"})
    assert (refused.status_code, book.accepted) == (422, [])
    assert "wet cloth first" in refused.text
    bench.phone.press("test-tiles/1/choose", form={"choose": "yes", "cloth": "clean"})

    assert "tone_curve" in book.accepted[0][1]["recipe"]


def test_rows_that_do_not_meet_are_found_by_camera_and_by_eye(bench, book):
    bench.make(finds="register", place_width_mm="120")
    bench.put_on_bench(book)
    page = bench.read(photograph(etch_hairlines(bench.card, SURFACE, lag_s=0.0004, slack_mm=0.06)))
    assert TAKEN_OVER in page.text

    feeds = {f"{pair.feed_mm_per_min:g}" for pair in bench.card.hairlines}
    bench.phone.press("test-tiles/1/pairs", form={f"pair at {feed}": "6,5" for feed in feeds})
    bench.look()
    bench.phone.press("test-tiles/1/choose", form={"choose": "yes"})

    assert book.readings[0]["marks"] == dict.fromkeys(feeds, "6.5")
    assert book.accepted[0][1]["register"]["slack_mm"] > 0


WEDGE = {"left_mm": "0", "right_mm": "15", "length_mm": "100"}


def test_a_focus_card_says_how_to_set_the_laser_and_gives_it_its_spot(bench, book):
    page = bench.make(finds="focus", bed_place="back left", **WEDGE)
    assert "right end 15 mm" in page.text
    bench.put_on_bench(book)
    beam = Beam(across_at_mm=6.0, along_at_mm=6.0, m_squared=12)
    page = bench.read(photograph(etch_focus(bench.card, SURFACE, beam), LARGE))
    assert "lower the laser by 6.0 mm" in page.text
    assert "How wide the spot is" in page.text
    assert 'class="asked"' in page.text

    bench.phone.press("test-tiles/1/marks", form={"mark": "other way round", "patch": "wedge"})
    turned = bench.look()
    assert "lower the laser by 9.0 mm" in turned.text
    refused = bench.phone.press("test-tiles/1/marks", form={"mark": "rubs off", "patch": "A1"})
    assert refused.status_code == 422
    bench.phone.press("test-tiles/1/marks", form={"mark": "no mark", "patch": "wedge"})
    assert "lower the laser by 6.0 mm" in bench.look().text
    assert "The bed" not in bench.look().text  # one place alone says nothing of it
    bench.phone.press("test-tiles/1/choose", form={"choose": "yes"})
    elsewhere = book.readings[0]["summary"] | {"bed_place": "centre", "best_focus_mm": 9.0}
    book.readings.append({**book.readings[0], "id": 2, "summary": elsewhere})
    page = bench.look()
    assert "Centre: in focus 9.0 mm up" in page.text
    assert "mm at the centre" in page.text

    assert book.accepted[0][1]["spot"]["spot_y_mm"] == pytest.approx(0.075, abs=0.011)
    assert book.readings[0]["summary"]["bed_place"] == "back left"
    assert book.readings[0]["marks"] == {}


def test_a_focus_card_is_burnt_with_the_speed_and_power_that_are_said_for_it(bench):
    bench.make(finds="focus", focus_feed="1500", focus_percent="45", **WEDGE)

    assert (bench.card.recipe.feed_mm_per_min, bench.card.recipe.power_ratio) == (1500, 0.45)


def test_of_a_focus_cards_speed_and_power_what_is_not_said_is_the_recipes(bench):
    bench.make(finds="focus", focus_percent="45", **WEDGE)

    ordered = json.loads((bench.folder / "test-tiles" / "card-1" / "order.json").read_text())
    asked = ordered["card"]["recipe"]
    assert asked["feed_mm_per_min"] == recipe(1)["feed_mm_per_min"]
    assert asked["power_ratio"] == 0.45


def test_without_a_recipe_a_focus_cards_speed_and_power_are_said_together(bench, daemon):
    daemon.answers["recipes"] = {"recipes": []}

    half = bench.phone.press(
        "test-tiles/new", form={"pair": PAIR, **PLACE, **WEDGE, "finds": "focus", "focus_feed": "9"}
    )

    assert half.status_code == 422
    assert "or leave both empty" in half.text
    bench.make(finds="focus", focus_feed="1500", focus_percent="45", **WEDGE)
    assert bench.card.recipe.power_ratio == 0.45
    assert "a guess" not in " ".join(bench.card.notes)


def test_an_etched_focus_card_offers_a_weaker_and_a_stronger_one_with_the_form_filled_in(
    bench, book
):
    page = bench.make(finds="focus", focus_feed="1500", focus_percent="45", **WEDGE)
    assert "twice the dose" not in page.text  # nobody has seen its lines yet
    bench.put_on_bench(book)

    links = re.findall(r'href="/test-tiles/new\?([^"]+)">(half|twice) the dose', bench.look().text)

    asked = {times: dict(parse_qsl(html.unescape(query))) for query, times in links}
    assert asked["twice"]["focus_feed"] == "750"
    assert asked["half"]["focus_feed"] == "3000"
    form = bench.phone.look(f"/test-tiles/new?{urlencode(asked['twice'])}").text
    for name, value in (asked["twice"] | WEDGE).items():
        if name not in ("pair", "finds", "bed_place"):
            assert re.search(rf'name="{name}"[^>]*value="{value}"', form), name


def test_the_coarsest_lines_that_close_become_the_recipe(bench, book):
    bench.make(finds="spacing")
    bench.put_on_bench(book)
    page = bench.read(photograph(black_lines(bench.card, 0.13)))
    assert "Lines 0.125 mm apart still close" in page.text
    assert "How dark patches get" in page.text
    to_try = re.search(r'type="hidden" name="patch" value="([^"]+)"', page.text)[1]
    assert bench.phone.press("test-tiles/1/choose", form={"choose": "yes"}).status_code == 422

    bench.phone.press("test-tiles/1/marks", form={"mark": "rubs off", "patch": to_try})
    assert f"Lines 0.125 mm apart are left out: patch {to_try} – rubs off." in bench.look().text
    bench.phone.press("test-tiles/1/marks", form={"mark": "no mark", "patch": to_try})
    bench.phone.press("test-tiles/1/marks", form={"mark": "good", "patch": to_try})
    assert "Take that back" in bench.look().text
    bench.phone.press("test-tiles/1/choose", form={"choose": "yes"})

    assert book.accepted[0][1]["recipe"]["line_spacing_mm"] == 0.125


def test_the_list_names_the_card_that_comes_next(bench, book, daemon):
    daemon.answers |= craft()
    pair = urlencode({"pair": json.dumps([HEAD.name, SURFACE_ENTRY.name])})
    due = bench.phone.look(f"/test-tiles?{pair}").text
    daemon.answers |= craft(recipe(tone_curve={"wanted": [0, 1], "to_burn": [0, 1]}))
    ready = bench.phone.look(f"/test-tiles?{pair}").text

    assert "Next: A spacing card shows how far apart lines may lie" in due
    assert 'href="/test-tiles/new?finds=spacing&amp;pair=' in due
    assert "Next: " not in ready


def test_a_power_card_has_the_recipes_lines_or_those_that_are_said(bench):
    assert bench.make(finds="power", spacing_mm="0,125").status_code == 200
    assert bench.card.spacing_mm == 0.125


def test_a_card_of_so_much_dose_is_made_only_when_it_is_meant(bench):
    # 20 W at 500 mm/min and 0.1 mm: 20 * 60 / (500 * 0.1) = 24 J/mm²
    strong = {"low_feed": "500", "high_feed": "2000", "low_percent": "50", "high_percent": "100"}
    few = {"speeds": "2", "powers": "2"}

    refused = bench.make(finds="power", **strong, **few)
    meant = bench.make(finds="power", **strong, **few, high_dose="yes")

    assert "24 J/mm², and no surface is known to need more than 10" in refused.text
    assert "Load it" not in refused.text
    assert "Load it" in meant.text


def test_a_focus_beyond_the_wedge_says_which_way_to_go(bench, book):
    bench.make(finds="focus", **WEDGE)
    bench.put_on_bench(book)

    page = bench.read(
        photograph(etch_focus(bench.card, SURFACE, Beam(across_at_mm=1, along_at_mm=1)))
    )

    assert "Pack the wedge lower, or raise the laser" in page.text
    assert "What it showed" not in page.text


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"finds": "gold"}, "find out"),
        ({"finds": "power", "pair": "nonsense"}, "which laser"),
        ({"finds": "power", "pair": "7"}, "which laser"),
        ({"finds": "power", "pair": "[" * 5000}, "which laser"),
        ({"finds": "power", "pair": "9" * 5000}, "which laser"),
        ({"finds": "power", "place_width_mm": "wide"}, "width of its place"),
        ({"finds": "power", "low_feed": "3000", "high_feed": "1000", "low_percent": "50",
          "high_percent": "60", "speeds": "3", "powers": "3"}, "come first"),
        ({"finds": "power", "low_feed": "1000"}, "must be a number"),
        ({"finds": "focus", **WEDGE, "left_mm": ""}, "How far up the left end stands"),
        ({"finds": "focus", **WEDGE, "start_mm": "far"}, "to the card"),
    ],
)  # fmt: skip
def test_what_makes_no_test_tile_is_refused_in_a_sentence(bench, form, words):
    answer = bench.phone.press("test-tiles/new", form={"pair": PAIR, **PLACE, **form})

    assert answer.status_code == 422
    assert words in answer.text


def test_the_next_test_tile_goes_to_a_free_place_of_a_spare_tile(bench, book):
    tile = PLACE | {"spare": "box 1", "place_width_mm": "100", "place_height_mm": "100"}
    first = bench.make(finds="check", **tile)
    bench.put_on_bench(book)
    made = bench.phone.press(
        "test-tiles/new", form={"pair": PAIR, **tile, "place_width_mm": "30", "finds": "check"}
    )
    second = bench.look(made.location)

    assert "On the spare tile box 1 it goes 0 mm from the left edge" in first.text
    assert "it goes 21 mm from the left edge" in second.text
    assert book.cards[1]["place"]["tile"] == "box 1"
    assert '<option value="box 1">' in bench.phone.look("/test-tiles/new").text


def test_the_unglazed_back_is_refused_with_the_reason(bench):
    form = {"pair": PAIR, **PLACE, "finds": "power", "side": "back"}

    answer = bench.phone.press("test-tiles/new", form=form)

    assert answer.status_code == 422
    assert as_sentence(UNGLAZED_BACK) in answer.text


def test_a_place_that_is_too_small_says_what_would_fit(bench):
    page = bench.make(finds="power", place_width_mm="20", place_height_mm="20")

    assert "tile is only" in page.text


def test_a_focus_card_without_a_wedge_says_what_a_wedge_is(bench):
    page = bench.make(finds="focus", **(WEDGE | {"right_mm": "0"}))

    assert "needs a wedge" in page.text


def test_what_failed_is_told_on_a_box_too_slow_to_wait_for(bench, app, monkeypatch):
    monkeypatch.setattr(views, "WAIT_S", 0.0)
    small = {"place_width_mm": "20", "place_height_mm": "20"}
    bench.phone.press("test-tiles/new", form={"pair": PAIR, **PLACE, **small, "finds": "power"})
    assert app.extensions["etchweb works"].of("card-1").over.wait(PATIENCE_S)

    page = bench.phone.look("/test-tiles/1")

    assert page.status_code == 422
    assert "tile is only" in page.text


@pytest.mark.parametrize(
    ("photos", "wiped", "status", "words"),
    [
        ([], "yes", 415, "as a form with a file"),
        ([b""], "yes", 422, NO_PHOTO),
        ([b"no picture"], "no", 422, "wipe it first"),
    ],
)
def test_no_photo_and_an_unwiped_tile_are_refused(bench, book, photos, wiped, status, words):
    bench.make(finds="power")
    bench.put_on_bench(book)

    answer = bench.send(*(io.BytesIO(photo) for photo in photos), wiped=wiped)

    assert answer.status_code == status
    assert words in answer.text


@pytest.mark.parametrize(
    "photo", [b"no picture at all", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"\xff\xd8\xff"]
)
def test_what_is_no_picture_is_said_so_and_nothing_is_filed(bench, book, photo):
    bench.make(finds="power")
    bench.put_on_bench(book)

    page = bench.read(io.BytesIO(photo))

    assert 'role="alert">tile.jpg ' in page.text  # as the phone calls it, to the letter
    assert "What it showed" not in page.text
    assert book.readings == []


def test_marks_on_nothing_and_words_of_no_kind_are_refused(bench, book):
    bench.make(finds="power")
    bench.put_on_bench(book)

    for form in (
        {"mark": "good"},
        {"mark": "splendid", "patch": "A1"},
        {"mark": "good", "patch": "Z9"},
    ):
        assert bench.phone.press("test-tiles/1/marks", form=form).status_code == 422


def test_a_reading_is_filed_once(bench, book):
    bench.make(finds="power")
    bench.put_on_bench(book)
    bench.phone.press("test-tiles/1/marks", form={"mark": "good", "patch": "A1"})
    bench.look()
    bench.phone.press("test-tiles/1/choose", form={"choose": "no"})

    again = bench.phone.press("test-tiles/1/choose", form={"choose": "no"})

    assert again.status_code == 409
    assert len(book.readings) == 1


def test_two_people_at_once_get_a_number_each(bench, book):
    first = bench.phone.press("test-tiles/new", form={"pair": PAIR, **PLACE, "finds": "power"})
    second = bench.phone.press("test-tiles/new", form={"pair": PAIR, **PLACE, "finds": "power"})

    assert (first.location, second.location) == ("/test-tiles/1", "/test-tiles/2")
    bench.look("/test-tiles/2")


def test_a_tile_that_was_never_made_is_not_there(phone, book):
    assert phone.look("/test-tiles/77").status_code == 404
    assert phone.look("/test-tiles/77/read-0123456789abcdef.jpg").status_code == 404


def test_the_list_tells_the_story_of_the_pair(bench, book, daemon):
    daemon.answers["time_line"] = {
        "events": [
            {"at_utc": "2026-11-25T10:00:00+00:00", "kind": "verdict", "id": 1, "beam_h": 1.0,
             "run_id": 3, "verdict": "pale", "cause": "lens", "note": "", "who": ""},
            {"at_utc": "2026-11-25T09:00:00+00:00", "kind": "lens wiped", "id": 1, "beam_h": 0.5,
             "who": ""},
        ],
        "next_before": None,
    }  # fmt: skip
    page = bench.phone.look("/test-tiles")

    assert "Etch 3 came out pale, because of lens." in page.text
    assert "Lens wiped." in page.text


def test_the_pictures_of_a_pair_are_its_cards_and_a_few_kilobytes(bench, book, daemon):
    bench.make(finds="power")
    bench.put_on_bench(book)
    bench.read(io.BytesIO(photo_of(bench.card)))
    bench.phone.press("test-tiles/1/choose", form={"choose": "no"})
    at = {"at_utc": "2026-11-25T10:00:00+00:00", "id": 1, "beam_h": 1.0, "who": ""}
    daemon.answers["time_line"] = {
        "events": [
            {**at, "kind": "recipe", "feed_mm_per_min": 1000.0, "power_ratio": 0.5,
             "line_spacing_mm": 0.1, "is_air_assist": False, "is_tone_measured": False,
             "origin": "reading", "reading_id": 1, "retired_at_utc": None},
            {**at, "kind": "reading", "card_number": 1, "card_kind": "power", "way": "camera",
             "summary": {}, "recommended": None, "chosen": None, "chosen_by": None},
            {**at, "kind": "lens wiped"},
        ],
        "next_before": None,
    }  # fmt: skip

    story = bench.phone.look("/test-tiles").text

    thumbs = re.findall(r'<img class="small-tile" src="([^"]+)" [^>]*loading="lazy"', story)
    assert len(thumbs) == 2
    assert len(set(thumbs)) == 1
    with bench.phone.look(thumbs[0]) as picture:
        image = Image.open(io.BytesIO(picture.data))
        assert max(image.size) <= THUMB_PX
        assert len(picture.data) < 6_000


def test_a_small_picture_of_an_earlier_release_is_the_large_one(phone, book, tmp_path):
    folder = tmp_path / "test-tiles" / "card-1"
    folder.mkdir(parents=True)
    (folder / "read-0123456789abcdef.jpg").write_bytes(b"")

    answer = phone.look("/test-tiles/1/read-0123456789abcdef-thumb.jpg")

    assert answer.location == "/test-tiles/1/read-0123456789abcdef.jpg"


def test_the_list_says_when_to_test_again(bench, daemon):
    told = daemon.answers["history"]
    daemon.answers["history"] = lambda **pair: {**told(**pair), "beam_h_since_card": 50.0}

    page = bench.phone.look("/test-tiles")

    assert "because diodes fade" in page.text


def test_without_the_daemon_the_page_says_so(phone, daemon):
    daemon.go_away()

    assert phone.look("/test-tiles").status_code == 503
