"""The path of a newcomer, from a box that knows nothing to the first picture."""

import time

import pytest

from etchweb.newcomer.path import STEPS, BoxRecords, Step, has_picture, path_of
from etchwire.calls.catalogue import CardEntry, HeadEntry, RecipeEntry, SurfaceEntry
from etchwire.calls.history import RunSummary
from etchwire.calls.json_values import from_json_value
from etchwire.catalogue.heads import ASSUMED_SPOT_MM
from support.fakes.catalogue_answers import HEAD, SURFACE, craft, head_entry, recipe, surface_entry
from support.fakes.fake_daemon import ETCH, JOB, LOGBOOK, SHA256, STATES, snapshot_table

NOTHING = {"heads": (), "surfaces": (), "cards": (), "recipes": ()}
CARD_SHA = "cd" * 32
CARD = {
    "number": 4, "kind": "power", "head": HEAD.name, "surface": SURFACE.name,
    "found_on": SURFACE.to_table(), "gcode_sha256": CARD_SHA, "at_utc": "2026-11-25T09:00:00+00:00",
    "who": "", "software": "0.1.0", "run_id": None, "run_ended": None, "reading_id": None,
    "place": None,
}  # fmt: skip
LASER = {"heads": (from_json_value(head_entry(), HeadEntry),)}
TILE = {"surfaces": (from_json_value(surface_entry(SURFACE.to_table()), SurfaceEntry),)}
PAIR = LASER | TILE
RECIPE = {"recipes": (from_json_value(recipe(), RecipeEntry),)}


def card(**changes):
    return {"cards": (from_json_value({**CARD, **changes}, CardEntry),)}


def run(**changes):
    names = RunSummary.__struct_fields__
    table = {name: value for name, value in ETCH.items() if name in names}
    return from_json_value({**table, **changes}, RunSummary)


def head(**changes):
    return {"heads": (from_json_value(head_entry(**changes), HeadEntry),)}


def path(*known):
    records = dict(NOTHING)
    for one in known:
        records |= one
    return path_of(BoxRecords(**records))


UNSTATED = {
    "spot_x_mm": ASSUMED_SPOT_MM, "spot_y_mm": ASSUMED_SPOT_MM, "is_spot_measured": False,
    "is_spot_stated": False,
}  # fmt: skip
ETCHED = {"run_id": 1, "run_ended": "complete"}


@pytest.mark.parametrize(
    ("known", "step", "endpoint", "args"),
    [
        ([], Step.LASER, "craft.lasers", {}),
        ([TILE], Step.LASER, "craft.lasers", {}),
        ([LASER], Step.SURFACE, "craft.surfaces", {}),
        ([PAIR], Step.CARD, "cards.new", {"finds": "power"}),
        ([PAIR, head(**UNSTATED)], Step.CARD, "cards.new", {"finds": "focus"}),
        ([PAIR, head(**UNSTATED | {"is_spot_stated": None})], Step.CARD, "cards.new",
         {"finds": "focus"}),  # as a record has it that is older than the entry
        ([PAIR, head(**UNSTATED | {"is_spot_stated": True})], Step.CARD, "cards.new",
         {"finds": "power"}),
        ([PAIR, head(**UNSTATED | {"is_spot_measured": True})], Step.CARD, "cards.new",
         {"finds": "power"}),
        ([PAIR, card()], Step.CARD, "cards.show_card", {"number": 4}),
        ([PAIR, card(run_id=1, run_ended="stopped")], Step.CARD, "cards.show_card", {"number": 4}),
        ([PAIR, card(**ETCHED)], Step.RECIPE, "cards.show_card",
         {"number": 4}),
        ([PAIR, card(**ETCHED, reading_id=2)], Step.CARD, "cards.new", {"finds": "power"}),
        ([PAIR, card(surface="another", **ETCHED)], Step.CARD, "cards.new", {"finds": "power"}),
        ([PAIR, RECIPE], Step.PICTURE, "new_picture.show", {}),
    ],
)  # fmt: skip
def test_what_comes_next_is_told_by_the_records(known, step, endpoint, args):
    found = path(*known)

    assert (found.next.step, found.next.endpoint) == (step, endpoint)
    assert args.items() <= dict(found.args).items()


UNTOLD = {"recipes": (from_json_value(recipe(tone_curve=None), RecipeEntry),)}
SEEN = head(is_spot_measured=True)


@pytest.mark.parametrize(
    ("known", "kind"),
    [
        ([PAIR, SEEN, UNTOLD], "spacing"),
        ([PAIR, SEEN, UNTOLD, card(kind="spacing", **ETCHED, reading_id=2)], "tone"),
        ([PAIR, head(is_spot_measured=False), UNTOLD], "tone"),
        ([PAIR, SEEN, UNTOLD, card(kind="spacing", **ETCHED)], None),  # is to be read first
        ([PAIR], None),  # a power card is the way itself
    ],
)
def test_a_card_that_makes_the_first_picture_better_is_offered_beside_it(known, kind):
    due = path(*known).before_picture

    assert (due and due.kind) == kind


@pytest.mark.parametrize(
    ("runs", "is_over"),
    [
        ([], False),
        ([run()], True),
        ([run(ended="stopped")], False),
        ([run(gcode_sha256=CARD_SHA)], False),
        ([run(gcode_sha256=CARD_SHA), run()], True),
    ],
)
def test_the_path_is_over_once_a_picture_was_etched_to_its_end(runs, is_over):
    assert has_picture(card(**ETCHED)["cards"], runs) is is_over


def test_every_step_says_what_was_done_or_what_will_be():
    states = [(name, state) for name, _, state in path(PAIR, card(**ETCHED)).steps]

    assert states == [
        ("Laser", "done"), ("Tile and paint", "done"), ("Test card", "done"), ("Recipe", "here"),
        ("Picture", "to-come"),
    ]  # fmt: skip
    assert [words for _, words, _ in path(PAIR, card(**ETCHED)).steps][:3] == [
        HEAD.name, SURFACE.name, "Test card 4",
    ]  # fmt: skip
    assert all(words for _, words, _ in path().steps)
    assert len(STEPS) == len(Step)


EMPTY = {"heads": {"heads": []}, "surfaces": {"surfaces": []}, "recipes": {"recipes": []}}
NO_RUNS = {"runs": {**LOGBOOK["runs"], "runs": []}}
NO_CARDS = {"cards": {"cards": [], "next_before": None, "next_number": 1}}


@pytest.fixture
def new_box(daemon):
    daemon.answers |= EMPTY | NO_RUNS | NO_CARDS
    return daemon


@pytest.mark.parametrize("address", ["/", "/lasers", "/tiles-and-paints", "/test-tiles", "/new"])
def test_every_step_shows_the_path(phone, new_box, address):
    page = phone.look(address)

    assert "First tile, step 1 of 5: Laser" in page.text
    assert ('href="/lasers#describe"' in page.text) is (address != "/lasers")


@pytest.mark.parametrize("state", STATES)
def test_no_state_of_a_new_box_fails_for_the_path(phone, new_box, state):
    new_box.tell(state)

    assert phone.look().status_code == 200


def test_a_phone_that_may_only_watch_is_not_led(pair_phone, new_box):
    assert "First tile" not in pair_phone("watch", time.time()).look().text


def test_a_box_in_use_shows_no_path(phone):
    assert "First tile" not in phone.look().text


LASER_FORM = {
    "name": "mine", "rated_optical_w": "20", "spot_x_mm": "0.08", "max_s": "1000",
    "max_feed_mm_per_min": "10000", "acceleration_mm_per_s2": "1000", "travel_x_mm": "400",
    "travel_y_mm": "400",
}  # fmt: skip


def test_a_described_laser_leads_to_tile_and_paint_and_those_to_a_test_card(phone, new_box):
    new_box.answers["heads"] = {"heads": [head_entry()]}
    after_laser = phone.press("lasers", form=LASER_FORM).location
    new_box.answers["surfaces"] = {"surfaces": [surface_entry(SURFACE.to_table())]}
    after_surface = phone.press("tiles-and-paints", form={"name": "white"}).location

    assert after_laser == "/tiles-and-paints#describe"
    assert after_surface.startswith("/test-tiles/new?finds=power&pair=")


def test_an_etched_test_card_asks_for_its_photo(phone, daemon):
    low_to_high = {
        "low_feed_mm_per_min": 1000.0, "high_feed_mm_per_min": 6000.0, "low_power_ratio": 0.1,
        "high_power_ratio": 0.9,
    }  # fmt: skip
    job = {**JOB, "card": low_to_high}
    daemon.answers["cards"] = {
        "cards": [{**CARD, **ETCHED, "gcode_sha256": SHA256}], "next_before": None,
        "next_number": 5,
    }  # fmt: skip
    daemon.tell("complete", job=job)

    page = phone.look()

    assert 'href="/test-tiles/4#photo">Photograph test card 4' in page.text
    assert "#verdict" not in page.text


def test_the_origin_is_set_where_the_etch_is_started(phone, daemon):
    machine = snapshot_table("loaded")["machine"]
    unknown = {"is_known": False, "epoch": 3, "sentence": "Set the origin.", "again": None}
    daemon.tell("loaded", may=["arm", "set_origin"], machine={**machine, "origin": unknown})

    wanted = phone.look()
    daemon.tell("loaded", may=["arm", "set_origin"])

    assert 'action="/machine/set-origin"' in wanted.text
    assert 'action="/machine/set-origin"' not in phone.look().text
    assert phone.press("machine/set-origin", form={"back": "watch"}).location == "/"
    assert phone.press("machine/set-origin").location == "/machine"


def test_the_laser_that_is_connected_is_chosen_beforehand(phone, daemon):
    # The controller's own settings: 30, 110/111, 120/121, 130/131 (firmware documentation, $$).
    other = head_entry(name="another", travel_x_mm=300.0)
    daemon.answers |= (
        craft()
        | NO_RUNS
        | {
            "heads": {"heads": [other, head_entry()]},
            "recipes": {"recipes": []},
            "settings": told_settings(),
        }
    )

    page = phone.look("/test-tiles/new")

    (checked,) = [part for part in page.text.split("<label") if 'name="pair"' in part
                  and " checked" in part][:1]  # fmt: skip
    assert HEAD.name in checked


def told_settings(**changes):
    said = {30: "1000", 110: "10000.000", 111: "12000.000", 120: "1000.000", 121: "1500.000",
            130: "400.000", 131: "400.000"} | changes  # fmt: skip
    groups = [(30,), (110, 111), (120, 121), (130, 131)]
    return LOGBOOK["settings"] | {
        "settings": [
            {"name": "any", "numbers": list(numbers), "unit": "", "is_good": True, "sentence": "",
             "values": [said[number] for number in numbers]}
            for numbers in groups
        ]
    }  # fmt: skip


def test_three_questions_are_left_where_the_controller_tells_the_rest(phone, new_box):
    new_box.answers["settings"] = told_settings()

    page = phone.look("/lasers").text
    asked, told = page.split("<details", 2)[1:] if "path" in page else page.split("<details")
    for name, value in (("max_s", "1000"), ("max_feed_mm_per_min", "10000"),
                        ("acceleration_mm_per_s2", "1000"), ("travel_x_mm", "400")):  # fmt: skip
        assert f'name="{name}"' in told
        assert f'value="{value}"' in told
    questions = [name for name in ("name", "rated_optical_w", "spot_x_mm")
                 if f'name="{name}"' in asked]  # fmt: skip
    assert questions == ["name", "rated_optical_w", "spot_x_mm"]
    assert not told.startswith(" open")


def test_a_spot_left_empty_is_unknown_and_not_measured(phone, new_box):
    phone.press("lasers", form=LASER_FORM | {"spot_x_mm": "", "is_spot_measured": "yes"})

    said = new_box.said["save_head"]["head"]
    assert (said["spot_x_mm"], said["spot_y_mm"]) == (ASSUMED_SPOT_MM, ASSUMED_SPOT_MM)
    assert (said["is_spot_measured"], said["is_spot_stated"]) == (False, False)


def test_a_spot_typed_as_wide_as_the_assumed_one_is_stated(phone, daemon, new_box):
    phone.press("lasers", form=LASER_FORM | {"spot_x_mm": f"{ASSUMED_SPOT_MM:g}"})
    said = new_box.said["save_head"]["head"]
    daemon.answers["heads"] = {"heads": [head_entry(**said)]}

    page = phone.look("/lasers").text

    assert said["is_spot_stated"]
    assert "Spot 0.1 × 0.1 mm, as the maker says." in page


def test_one_figure_says_the_spot(phone, new_box):
    phone.press("lasers", form=LASER_FORM)

    said = new_box.said["save_head"]["head"]
    assert (said["spot_x_mm"], said["spot_y_mm"]) == (0.08, 0.08)


def test_a_spot_nobody_stated_is_said_and_asked_for_again(phone, daemon):
    daemon.answers["heads"] = {"heads": [head_entry(**UNSTATED)]}

    page = phone.look(f"/lasers?name={HEAD.name}").text

    assert "Spot not stated, taken as 0.1 × 0.1 mm: a focus card measures it." in page
    assert 'name="spot_x_mm" min="0.0001" step="any" inputmode="decimal" value=""' in page


def test_a_measured_spot_says_how_sure_it_is_when_and_by_what(phone, daemon):
    found = {"reading": 3, "at_utc": "2026-11-20T10:00:00Z", "give_or_take_mm": 0.005}
    daemon.answers["heads"] = {"heads": [head_entry() | {"spot_found": found}]}

    page = phone.look("/lasers").text

    assert all(
        words in page
        for words in ("give or take 0.005 (nine times in ten)", "2026-11-20", "reading 3")
    )


@pytest.mark.parametrize("is_on", [True, False])
def test_a_controller_out_of_laser_mode_is_said_where_its_laser_is_described(phone, daemon, is_on):
    # $32=0: the controller keeps the beam on at standstill (firmware documentation, laser mode).
    burns_on = "The beam would burn on where the head stands still."
    mode = {
        "name": "laser mode", "numbers": [32], "values": ["1" if is_on else "0"], "unit": "",
        "is_good": is_on, "sentence": burns_on,
    }  # fmt: skip
    daemon.answers["settings"] = LOGBOOK["settings"] | {"settings": [mode]}

    assert (burns_on in phone.look("/lasers").text) is not is_on
