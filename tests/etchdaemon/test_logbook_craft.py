"""What the logbook keeps of the craft: what goes in comes out, and what makes no sense does not."""

import re
import sqlite3
from contextlib import closing

import pytest

from etchdaemon.errors import CommandRefused, LogbookUnavailable
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES, PRACTICE_SURFACE
from etchwire.catalogue.records import VERDICTS
from support.harnesses.logbooks import (
    END,
    EVENT,
    LONG_S,
    STARTED_UTC,
    Disk,
    logbook_on,
    row_of,
    start_run,
)
from support.samples.sheets import sheet_of

HEAD = "practice 20 W"
PAIR = {"head": HEAD, "surface": PRACTICE_SURFACE}
CARD_GCODE = "cd" * 32
OWN_HEAD = PRACTICE_HEADS["practice-20w"].to_table() | {"name": "the one in the shed"}
SETTINGS = {"feed_mm_per_min": 3000.0, "power_ratio": 0.5, "line_spacing_mm": 0.1}
CURVE = {"wanted": [0.0, 0.5, 1.0], "to_burn": [0.0, 0.4, 1.0]}


def card(number=1, **changes):
    return {
        "number": number,
        "kind": "power",
        **PAIR,
        "gcode_sha256": CARD_GCODE,
        "layout_packed": "packed",
    } | changes


def file_reading(logbook, number=1, **changes):
    logbook.note("save_card", card=card(number, **changes))
    reading = {"card": number, "way": "camera", "marks": {"B2": "good"}}
    return logbook.note("save_reading", reading=reading, who="Ada")["id"]


def etch(logbook, *, rows=(), **changes):
    run = start_run(logbook, **changes)
    logbook.note_rows(run, list(rows))
    logbook.end_run(run, **END)
    return run


def write_all(logbook, run):
    """What somebody waits for takes everything with it that was queued before."""
    logbook.confirm_event(run, **EVENT)


def judge(logbook, run, verdict, **changes):
    said = {"cause": "", "note": "", "photo": ""} | changes
    return logbook.note("save_verdict", run=run, verdict=verdict, **said)


def in_force(logbook, **pair):
    found = logbook.ask("recipes", **(PAIR | pair))["recipes"]
    return [recipe for recipe in found if recipe["is_in_force"]]


def test_a_practice_household_begins_with_marked_lasers_surfaces_and_recipes(logbook):
    heads = logbook.ask("heads")["heads"]
    recipes = logbook.ask("recipes", head="", surface="")["recipes"]

    assert {head["name"] for head in heads} == {head.name for head in PRACTICE_HEADS.values()}
    assert all(head["is_practice"] for head in heads)
    assert logbook.ask("surfaces")["surfaces"][0]["name"] == PRACTICE_SURFACE
    assert {(one["origin"], one["feed_mm_per_min"]) for one in recipes} == {
        ("practice", recipe.feed_mm_per_min) for recipe in PRACTICE_RECIPES.values()
    }


def test_a_second_start_of_the_household_changes_nothing(logbook):
    logbook.note("save_head", head=OWN_HEAD, notes="mine")

    logbook.introduce_practice()

    assert len(logbook.ask("heads")["heads"]) == 4
    assert len(logbook.ask("recipes", head="", surface="")["recipes"]) == 3


def test_a_laser_is_described_anew_under_its_name(logbook):
    logbook.note("save_head", head=OWN_HEAD, notes="")
    logbook.note("save_head", head=OWN_HEAD | {"max_feed_mm_per_min": 6000.0}, notes="slower belt")

    (head,) = (one for one in logbook.ask("heads")["heads"] if one["name"] == OWN_HEAD["name"])

    assert head["head"]["max_feed_mm_per_min"] == 6000.0
    assert (head["notes"], head["is_practice"]) == ("slower belt", False)


def test_a_recipe_is_kept_with_the_surface_as_it_was(logbook):
    tiles = {"name": "box", "batch": "7", "coating": "airbrush", "coats": 2}
    logbook.note("save_surface", surface=tiles)
    logbook.note("save_recipe", recipe={"head": HEAD, "surface": "box", **SETTINGS}, who="Ada")
    logbook.note("save_surface", surface=tiles | {"batch": "8"})

    (recipe,) = in_force(logbook, surface="box")

    assert recipe["found_on"]["batch"] == "7"
    assert (recipe["who"], recipe["software"], recipe["origin"]) == ("Ada", "0.1.0", "hand")
    assert recipe["air_assist"] is False


def test_the_newest_recipe_is_in_force_until_it_is_retired(logbook):
    (first,) = in_force(logbook)
    second = logbook.note("save_recipe", recipe={**PAIR, **SETTINGS, "tone_curve": CURVE})["id"]
    (now,) = in_force(logbook)
    logbook.note("retire_recipe", id=second)

    assert (now["id"], now["tone_curve"]) == (second, CURVE)
    assert in_force(logbook)[0]["id"] == first["id"]
    kept = logbook.ask("recipes", **PAIR)["recipes"]
    assert [one["retired_at_utc"] is not None for one in kept] == [True, False]


def test_a_card_knows_its_run_and_its_reading(logbook):
    run = etch(logbook, gcode_sha256=CARD_GCODE)
    reading = file_reading(logbook)

    kept = logbook.ask("card", number=1)
    (listed,) = logbook.ask("cards", **PAIR, before=None, limit=500)["cards"]

    assert (kept["run_id"], kept["run_ended"], kept["reading_id"]) == (run, "complete", reading)
    assert kept["layout_packed"] == "packed"
    assert listed == {name: value for name, value in kept.items() if name != "layout_packed"}
    assert logbook.ask("cards", **PAIR, before=None, limit=1)["next_number"] == 2


def test_two_cards_of_one_number_are_refused_and_the_first_is_kept(logbook):
    logbook.note("save_card", card=card())

    with pytest.raises(CommandRefused, match="a card 1 already"):
        logbook.note("save_card", card=card(kind="tone"))

    assert logbook.ask("card", number=1)["kind"] == "power"
    assert logbook.trouble is None


def test_a_choice_brings_a_recipe_into_force_and_is_kept_beside_the_advice(logbook):
    logbook.note("save_card", card=card())
    advised = {"feed_mm_per_min": 3100.0, "power_ratio": 0.5, "feed_uncertainty_mm_per_min": 150.0}
    reading = logbook.note(
        "save_reading", reading={"card": 1, "way": "both", "recommended": advised}
    )["id"]

    logbook.note("accept_reading", reading=reading, chosen={"recipe": SETTINGS}, who="Ada")

    kept = logbook.ask("reading", id=reading)
    assert (kept["recommended"], kept["chosen"]) == (advised, {"recipe": SETTINGS})
    assert kept["chosen_by"] == "Ada"
    (recipe,) = in_force(logbook)
    assert (recipe["feed_mm_per_min"], recipe["origin"]) == (3000.0, "reading")
    assert (recipe["reading_id"], recipe["card_number"]) == (reading, 1)


def test_a_register_that_was_read_belongs_to_the_laser_from_then_on(logbook):
    reading = file_reading(logbook, kind="register")
    register = {"beam_lag_s": 0.0003, "slack_mm": 0.1}

    logbook.note("accept_reading", reading=reading, chosen={"register": register})

    (head,) = (one for one in logbook.ask("heads")["heads"] if one["name"] == HEAD)
    assert head["head"]["register"] == register | {"is_measured": True}
    assert in_force(logbook)[0]["origin"] == "practice"


SPOT = {"spot_x_mm": 0.07, "spot_y_mm": 0.09, "give_or_take_mm": 0.01}


def laser(logbook):
    return next(one for one in logbook.ask("heads")["heads"] if one["name"] == HEAD)


def test_a_spot_that_was_read_belongs_to_the_laser_with_the_reading_it_comes_from(logbook):
    assert laser(logbook)["spot_found"] is None
    reading = file_reading(logbook, kind="focus")

    logbook.note("accept_reading", reading=reading, chosen={"spot": SPOT})

    head = laser(logbook)
    spot = (head["head"]["spot_x_mm"], head["head"]["spot_y_mm"])
    assert (spot, head["head"]["is_spot_measured"]) == ((0.07, 0.09), True)
    assert (head["spot_found"]["reading"], head["spot_found"]["give_or_take_mm"]) == (reading, 0.01)
    assert head["spot_found"]["at_utc"] == logbook.ask("reading", id=reading)["chosen_at_utc"]


def test_a_spot_that_was_described_by_hand_since_comes_from_no_reading(logbook):
    reading = file_reading(logbook, kind="focus")
    logbook.note("accept_reading", reading=reading, chosen={"spot": SPOT})

    logbook.note("save_head", head=laser(logbook)["head"] | {"spot_y_mm": 0.12})

    assert laser(logbook)["spot_found"] is None


def test_readings_are_found_by_their_card_and_opened_one_by_one(logbook):
    file_reading(logbook, 1)
    second = file_reading(logbook, 2)

    found = logbook.ask("readings", **PAIR, card=2, before=None, limit=500)["readings"]

    assert [one["id"] for one in found] == [second]
    assert found[0]["marks"] == {"B2": "good"}
    assert logbook.ask("reading", id=second)["measured_packed"] == ""


def test_beam_hours_are_counted_from_runs_and_from_the_lens_wiped_last(logbook):
    """By hand: 40 % of 10 mm in each of 20 rows at 4000 mm/min, then at the 2000 really run."""
    write_all(logbook, etch(logbook, rows=[row_of(0)]))
    logbook.note("wipe_lens", head=HEAD)
    write_all(logbook, etch(logbook, rows=[row_of(0, feed=2000.0)]))

    (head,) = (one for one in logbook.ask("heads")["heads"] if one["name"] == HEAD)

    assert head["beam_s"] == pytest.approx(1.2 + 2.4)
    assert head["beam_since_wipe_s"] == pytest.approx(2.4)


def test_the_filter_counts_the_beam_of_every_laser_since_it_was_changed(logbook):
    """By hand, as above: 1.2 s, then 2.4 s of beam; a run-up burns nothing and counts nothing."""
    write_all(logbook, etch(logbook, rows=[row_of(0)]))
    unnoted = logbook.ask("filter")
    logbook.note("change_filter", who="Ada")
    new = logbook.ask("filter")
    logbook.note("save_shop", figures={"filter_limit_h": 40.0})
    write_all(logbook, etch(logbook, rows=[row_of(0, feed=2000.0)]))

    used = logbook.ask("filter")

    assert (unnoted["changed_at_utc"], unnoted["limit_h"]) == (None, 0.0)
    assert unnoted["beam_since_change_s"] == pytest.approx(1.2)
    assert (new["beam_since_change_s"], bool(new["changed_at_utc"])) == (0.0, True)
    assert used["beam_since_change_s"] == pytest.approx(2.4)
    assert used["limit_h"] == 40.0


def test_the_last_verdict_on_a_run_counts_and_all_are_kept(logbook):
    run = etch(logbook)
    judge(logbook, run, "good")
    judge(logbook, run, "rubbed off", cause="too little power", note="after a day")

    assert [one["verdict"] for one in logbook.ask("run", id=run)["verdicts"]] == [
        "good", "rubbed off",
    ]  # fmt: skip
    assert logbook.ask("runs", before=None, limit=1)["runs"][0]["verdict"] == "rubbed off"


@pytest.mark.parametrize("verdict", VERDICTS)
def test_every_verdict_of_the_shop_can_be_kept(logbook, verdict):
    run = etch(logbook)

    judge(logbook, run, verdict)

    assert logbook.ask("run", id=run)["verdicts"][0]["verdict"] == verdict


def test_a_run_that_goes_on_has_no_verdict_yet(logbook):
    run = start_run(logbook)

    with pytest.raises(CommandRefused, match="still going on"):
        judge(logbook, run, "good")


@pytest.mark.parametrize(
    ("sought", "found"),
    [
        ({}, [2, 1]),
        ({"text": "HARBOUR"}, [2]),
        ({"text": "lens was dirty"}, [1]),
        ({"text": "%"}, []),
        ({"surface": "slate"}, [2]),
        ({"head": HEAD}, [2, 1]),
        ({"head": "another"}, []),
        ({"since": "2026-11-25", "until": "2026-11-25"}, [1]),
        ({"since": "2026-11-26"}, [2]),
        ({"until": "2026-11-24"}, []),
        ({"verdict": "pale"}, [1]),
        ({"verdict": "good"}, []),
        ({"verdict": "unrated"}, [2]),
    ],
    ids=str,
)
def test_runs_are_found_by_what_people_remember_of_them(logbook, sought, found):
    judge(logbook, etch(logbook), "pale", cause="the lens was dirty")
    slate = sheet_of(title="Harbour", recipe=sheet_of().recipe.__class__(
        surface="slate", feed_mm_per_min=3000.0, power_ratio=0.5, line_spacing_mm=0.1
    ))  # fmt: skip
    later = STARTED_UTC.replace("11-25", "11-26")
    logbook.start_run(sheet_json=slate.to_json(), started_at_utc=later, notes={})

    runs = logbook.ask("runs", before=None, limit=500, **sought)["runs"]

    assert [run["id"] for run in runs] == found


NONSENSE = {
    "a laser without its power": ("save_head", {"head": {"name": "x"}, "notes": ""}),
    "a laser without a name": ("save_head", {"head": OWN_HEAD | {"name": " "}, "notes": ""}),
    "a name of two lines": ("save_surface", {"surface": {"name": "a\nb"}}),
    "a coating nobody knows": ("save_surface", {"surface": {"name": "a", "coating": "dipped"}}),
    "minus one coat": ("save_surface", {"surface": {"name": "a", "coats": -1}}),
    "a date that is none": ("save_surface", {"surface": {"name": "a", "coated_on": "May"}}),
    "an entry nobody knows": ("save_surface", {"surface": {"name": "a", "colour": "white"}}),
    "a text for a number": ("save_surface", {"surface": {"name": "a", "coats": "two"}}),
    "an unknown laser": ("save_recipe", {"recipe": {**PAIR, **SETTINGS, "head": "nobody's"}}),
    "an unknown surface": ("save_recipe", {"recipe": {**PAIR, **SETTINGS, "surface": "moon"}}),
    "more power than there is": ("save_recipe", {"recipe": {**PAIR, **SETTINGS, "power_ratio": 2}}),
    "no speed": ("save_recipe", {"recipe": {**PAIR, **SETTINGS, "feed_mm_per_min": 0}}),
    "a curve that falls": (
        "save_recipe",
        {"recipe": {**PAIR, **SETTINGS, "tone_curve": {"wanted": [0, 1], "to_burn": [1, 0]}}},
    ),
    "a curve of texts": (
        "save_recipe",
        {"recipe": {**PAIR, **SETTINGS, "tone_curve": {"wanted": "01", "to_burn": "01"}}},
    ),
    "a recipe from nowhere": ("save_recipe", {"recipe": {**PAIR, **SETTINGS, "origin": "dream"}}),
    "a reading that is not there": ("save_recipe", {"recipe": {**PAIR, **SETTINGS, "reading": 9}}),
    "a reading of 65 bits": ("save_recipe", {"recipe": {**PAIR, **SETTINGS, "reading": 2**64}}),
    "a speed that nothing has": (
        "save_recipe",
        {"recipe": {**PAIR, **SETTINGS, "feed_mm_per_min": 1e308}},
    ),
    "a recipe that is not there": ("retire_recipe", {"id": 99}),
    "a card numbered nought": ("save_card", {"card": card(0)}),
    "a card of another kind": ("save_card", {"card": card(kind="birthday")}),
    "a card without its G-code": ("save_card", {"card": card(gcode_sha256="none")}),
    "a card too long": ("save_card", {"card": card(layout_packed="x" * 30_000)}),
    "a card of an unknown laser": ("save_card", {"card": card(head="nobody's")}),
    "a reading of no card": ("save_reading", {"reading": {"card": 99, "way": "hand"}}),
    "a way nobody reads": ("save_reading", {"reading": {"card": 1, "way": "guess"}}),
    "marks that are a list": ("save_reading", {"reading": {"card": 1, "way": "hand", "marks": []}}),
    "a choice of nothing": ("accept_reading", {"reading": 1, "chosen": {}}),
    "a choice of both": ("accept_reading", {"reading": 1, "chosen": {"recipe": 1, "register": 2}}),
    "a choice that is no table": ("accept_reading", {"reading": 1, "chosen": {"recipe": 7}}),
    "a choice without a speed": ("accept_reading", {"reading": 1, "chosen": {"recipe": {}}}),
    "a choice for another laser": (
        "accept_reading",
        {"reading": 1, "chosen": {"register": {"head": "x"}}},
    ),
    "a spot without a size": ("accept_reading", {"reading": 1, "chosen": {"spot": {}}}),
    "a spot of nothing": (
        "accept_reading",
        {"reading": 1, "chosen": {"spot": SPOT | {"spot_x_mm": 0.0}}},
    ),
    "a choice after no reading": ("accept_reading", {"reading": 9, "chosen": {"recipe": SETTINGS}}),
    "a lens of an unknown laser": ("wipe_lens", {"head": "nobody's"}),
}  # fmt: skip


@pytest.mark.parametrize("name", NONSENSE)
def test_what_makes_no_sense_is_refused_with_a_sentence_and_nothing_is_written(logbook, name):
    command, parameters = NONSENSE[name]
    before = [logbook.ask("heads"), logbook.ask("surfaces"), logbook.ask("recipes", **PAIR)]

    with pytest.raises(CommandRefused) as refused:
        logbook.note(command, **parameters)

    assert re.fullmatch(r"[A-Z'-].*\.", str(refused.value))
    after = [logbook.ask("heads"), logbook.ask("surfaces"), logbook.ask("recipes", **PAIR)]
    assert after == before


@pytest.mark.parametrize(
    ("verdict", "words"), [({"verdict": "fine"}, "say one of good"), ({"run": 99}, "no run 99")]
)
def test_a_verdict_that_says_nothing_is_refused(logbook, verdict, words):
    run = etch(logbook)
    said = {"run": run, "verdict": "good", "cause": "", "note": "", "photo": ""} | verdict

    with pytest.raises(CommandRefused, match=words):
        logbook.note("save_verdict", **said)


@pytest.mark.parametrize(("question", "name"), [("card", "number"), ("reading", "id")])
def test_what_is_not_in_the_logbook_is_said_to_be_missing(logbook, question, name):
    with pytest.raises(CommandRefused, match=f"no {question} 7 in the logbook"):
        logbook.ask(question, **{name: 7})


def test_a_refusal_takes_no_other_record_with_it(logbook):
    """What waits together is written together, and one that is refused falls out alone."""
    logbook.note("save_card", card=card(1))
    run = start_run(logbook)
    logbook.note_rows(run, [row_of(number) for number in range(5)])

    with pytest.raises(CommandRefused):
        logbook.note("save_card", card=card(1))

    rows = logbook.ask("run_rows", id=run, from_row=0, limit=500)["rows"]
    assert [row[0] for row in rows] == [0, 1, 2, 3, 4]


def test_what_this_release_cannot_read_of_the_catalogue_ends_in_a_sentence(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    with logbook_on(Disk(path), confirm_timeout_s=LONG_S) as logbook:
        logbook.introduce_practice()
        logbook.ask("heads")
    with closing(sqlite3.connect(path)) as book, book:
        book.execute("UPDATE head SET head_json = json_remove(head_json, '$.max_s')")

    with (
        logbook_on(Disk(path), confirm_timeout_s=LONG_S) as logbook,
        pytest.raises(LogbookUnavailable, match=r"cannot be read: head lacks the entry 'max_s'\."),
    ):
        logbook.ask("heads")
