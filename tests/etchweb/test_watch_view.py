import pytest

from etchdaemon.interlocks.rules.rule_table import RULES, Phase, Reaction
from etchweb.run.cause_presenter import (
    OTHERS_RESUME,
    PRESS_RESET,
    PRESS_RESUME,
    RESET_AT_MACHINE,
)
from etchweb.run.presenter import ACTIONS, away_view, changes, watch_view
from etchweb.text.causes import CAUSES, cause_of
from etchweb.text.emergencies import EMERGENCIES
from etchweb.text.figures import OF_THE_CARD
from etchweb.text.page_states import HEADLINES, SCENES
from etchweb.text.timestamps import clock_time
from support.fakes.fake_daemon import (
    BOX,
    JOB,
    LATE_END,
    LID_TRIP,
    MACHINE,
    RUN,
    STATES,
    STORAGE,
    box,
    snapshot,
)


def run_view(state="etching", time_factor=1, **changes_to_run):
    return watch_view(snapshot(state, run={**RUN, **changes_to_run}, time_factor=time_factor))


@pytest.mark.parametrize("state", STATES)
def test_every_state_gives_the_same_entries(state):
    seen = {name for name in watch_view(snapshot(state)) if not name.startswith("condition ")}

    assert seen == away_view("").keys()


@pytest.mark.parametrize("state", sorted(set(SCENES) - {"ended"}))
def test_every_state_has_a_headline(state):
    assert HEADLINES[state]


@pytest.mark.parametrize("ended", ["complete", "stopped", "failed"])
def test_the_headline_of_an_ended_etch_says_how_it_ended(ended):
    assert watch_view(snapshot(ended))["headline"] == HEADLINES[ended]


@pytest.mark.parametrize(
    ("feed_mm_per_min", "words"),
    [
        (None, "waiting for a reading"),
        (3170.0, "the detail holds it back"),
        (3879.0, "the detail holds it back"),
        (3880.0, "as the recipe asks"),
        (4000.0, "as the recipe asks"),
    ],
)
def test_the_speed_is_told_against_the_recipe(feed_mm_per_min, words):
    view = run_view(feed_mm_per_min=feed_mm_per_min)

    assert view["speed_words"] == words
    assert view["speed_asked"] == "of 4\u202f000 mm/min"


@pytest.mark.parametrize(
    ("power_ratio", "power_w", "words"),
    [
        (None, None, "waiting for a reading"),
        (0.6, 12.0, "12.0 W, as the recipe asks"),
        (0.47, 9.5, "9.5 W, it follows the speed, so the burn stays even"),
        (0.47, None, "it follows the speed, so the burn stays even"),
    ],
)
def test_the_power_is_told_against_the_recipe(power_ratio, power_w, words):
    assert run_view(power_ratio=power_ratio, power_w=power_w)["power_words"] == words


@pytest.mark.parametrize(
    ("feed_mm_per_min", "words"), [(2000.0, "between dots"), (9000.0, "crossing a white stretch")]
)
def test_speed_with_the_beam_off_is_not_blamed_on_the_detail(feed_mm_per_min, words):
    view = run_view(feed_mm_per_min=feed_mm_per_min, power_ratio=0.0, power_w=0.0)

    assert view["speed_words"] == words
    assert view["power_words"] == "between dots"


def test_what_stands_on_the_page_already_is_not_said_twice():
    sentence = snapshot("controller lost").machine.sentence
    lost = snapshot("controller lost", sentence=f"No picture is loaded. {sentence}")

    assert watch_view(lost)["sentence"] == "No picture is loaded."
    assert watch_view(snapshot("etching", sentence="Etching."))["sentence"] == ""
    stopped = f"Stopped. {LID_TRIP['sentence']}"
    assert watch_view(snapshot("tripped", sentence=stopped))["sentence"] == ""
    assert watch_view(snapshot("held", sentence="Held: the beam is off."))["sentence"] == (
        "The beam is off."
    )


def test_a_held_machine_is_at_rest_with_the_beam_off_and_promises_no_end():
    view = watch_view(snapshot("held"))

    assert (view["speed_words"], view["power_words"]) == ("at rest", "beam off")
    assert view["ends_at"] == ""


def test_rows_are_counted_as_people_count():
    view = run_view(row=412, etched_rows=412)

    assert view["rows_done"] == "412"
    assert view["row_words"] == "row 413 in work"


def test_no_row_is_marked_once_the_etch_has_ended():
    assert run_view("complete", ended="complete", row=999)["row"] == -1


def test_practice_time_is_told_in_yours_too():
    view = run_view(time_factor=20, remaining_s=1390.0)

    assert view["practice"] == "Practice machine. Time runs 20 times faster."
    assert (view["left"], view["left_words"]) == ("24 min", "70 s real time")


def test_a_real_machine_is_no_practice_machine():
    assert watch_view(snapshot("etching"))["practice"] == ""


def test_a_missing_controller_is_told_in_the_headline_and_in_its_own_sentence():
    view = watch_view(snapshot("controller lost"))

    assert view["headline"] == HEADLINES["absent"]
    assert view["trouble"].startswith("No controller at")


def test_a_cable_lost_while_etching_does_not_hide_how_the_etch_ended():
    view = watch_view(snapshot("failed"))

    assert view["headline"] == HEADLINES["failed"]
    assert view["trouble"]


def test_a_logbook_that_cannot_be_written_is_told():
    assert watch_view(snapshot("etching", logbook_trouble="The disk is full."))["logbook"] == (
        "The disk is full."
    )


def test_what_may_be_asked_comes_in_the_pages_order_and_without_what_it_has_no_button_for():
    assert watch_view(snapshot("loaded", may=["unload", "stop", "start"]))["may"] == [
        "start",
        "stop",
    ]


def test_not_knowing_keeps_nobody_from_asking_for_rest():
    assert away_view("gone")["may"] == ["hold", "hold_now", "stop"]


def test_only_what_has_changed_is_sent_again():
    before = watch_view(snapshot("etching"))
    after = run_view(etched_rows=413)

    assert changes(before, after) == {"etched_rows": 413, "rows_done": "413"}
    assert changes({}, after) == after


def test_what_was_asked_for_by_hand_is_not_called_the_recipes():
    view = run_view(feed_percent=80, feed_mm_per_min=3170.0, power_percent=125, power_ratio=0.6)

    assert view["speed_words"] == "as you asked"
    assert view["power_words"].endswith("as you asked")


@pytest.mark.parametrize(
    ("state", "alert"),
    [
        ("etching", ""), ("armed", ""), ("controller lost", ""), ("held", "held"),
        ("complete", "done"), ("stopped", "stop"), ("failed", "stop"), ("tripped", "stop"),
    ],
)  # fmt: skip
def test_somebody_is_called_for_an_end_a_hold_and_a_trip(state, alert):
    assert watch_view(snapshot(state))["alert"] == alert


def test_somebody_is_called_for_a_look_after_the_end():
    look = snapshot("complete", interlocks=box(is_look_asked=True, asked_for="Look once more."))

    assert watch_view(look)["alert"] == "ask"


def test_somebody_is_called_when_a_round_is_asked():
    asking = snapshot("etching", interlocks=box(is_round_asking=True))

    assert watch_view(asking)["alert"] == "ask"


def test_a_practice_machine_at_real_speed_is_still_called_one():
    real_speed = snapshot("idle", machine={**MACHINE, "is_practice": True})

    assert watch_view(real_speed)["practice"] == "Practice machine."
    assert watch_view(snapshot("idle"))["practice"] == ""


def test_lost_edges_short_room_and_a_failed_backup_are_told_beside_the_logbook_s_trouble():
    storage = {**STORAGE, "low": "Only 20 MB are free.", "backup_trouble": "No backup was made"}
    troubles = {"logbook_trouble": "The disk is full.", "storage": storage}
    without_edges = box(board_trouble="Edges are lost.")

    view = watch_view(snapshot("etching", interlocks=without_edges, **troubles))

    assert view["logbook"] == (
        "Edges are lost. The disk is full. Only 20 MB are free. No backup was made."
    )


def test_every_interlock_that_can_be_an_emergency_has_its_own_three_steps():
    can_be = {rule.name for rule in RULES if Reaction.EMERGENCY in map(rule.reaction, Phase)}

    assert can_be == set(EMERGENCIES)


def test_a_fire_is_told_before_any_other_emergency():
    names = ("somebody's new rule", "stop circuit closed", "no flame or smoke")
    trips = [{**LID_TRIP, "name": name, "reaction": "emergency"} for name in names]

    titles = [
        watch_view(snapshot("etching", interlocks=box(trips=trips[:count])))["headline"]
        for count in (1, 2, 3)
    ]

    assert titles == [
        "Emergency at the machine", "The stop button was pressed", "Fire or smoke in the box",
    ]  # fmt: skip


def test_a_flicker_that_becomes_a_fire_draws_the_page_anew():
    trips = [{**LID_TRIP, "reaction": reaction} for reaction in ("trip", "emergency")]

    drawn = {watch_view(snapshot("tripped", interlocks=box(trips=[one])))["box"] for one in trips}

    assert len(drawn) == 2


OUT_OF_ORDER = [{**rule, "state": "bad"} for rule in BOX["rules"]]
AT_MACHINE = {**LID_TRIP, "is_reset_at_machine": True}
REFUSED = "A phone alone cannot resume. Press the button at the machine."


@pytest.mark.parametrize(
    ("interlocks", "why_not_resume", "offered", "step"),
    [
        ({"trips": [LID_TRIP], "rules": OUT_OF_ORDER}, REFUSED, ACTIONS, "Close the lid."),
        ({"trips": [LID_TRIP], "rules": BOX["rules"]}, REFUSED, ACTIONS, PRESS_RESET),
        ({"trips": [AT_MACHINE], "rules": BOX["rules"]}, REFUSED, ACTIONS, RESET_AT_MACHINE),
        (
            {"trips": [AT_MACHINE], "rules": BOX["rules"], "is_somebody_there": True},
            REFUSED, ACTIONS, PRESS_RESET,
        ),
        ({}, REFUSED, ACTIONS, REFUSED),
        ({}, None, ACTIONS, PRESS_RESUME),
        ({}, None, ("hold", "stop"), OTHERS_RESUME),
    ],
)  # fmt: skip
def test_a_held_etch_says_the_one_next_step(interlocks, why_not_resume, offered, step):
    run = {**STATES["held"]["run"], "why_not_resume": why_not_resume}

    view = watch_view(snapshot("held", run=run, interlocks=box(**interlocks)), offered)

    assert view["next_step"] == step


def test_a_held_etch_that_would_end_after_closing_time_says_so_before_it_goes_on():
    run = {**STATES["held"]["run"], "late_end": LATE_END}

    view = watch_view(snapshot("held", run=run, interlocks=box()))

    assert view["next_step"] == f"{PRESS_RESUME} {LATE_END}."


def test_every_interlock_has_its_words_on_the_page():
    assert {rule.name for rule in RULES} == set(CAUSES)
    assert cause_of("a rule of a later release").label == "A rule of a later release"


CARD = {
    "low_feed_mm_per_min": 1000.0, "high_feed_mm_per_min": 6000.0,
    "low_power_ratio": 0.2, "high_power_ratio": 1.0,
}  # fmt: skip


def test_a_test_card_is_told_by_its_own_speeds_and_powers_and_has_no_shades():
    view = watch_view(snapshot("etching", job={**JOB, "card": CARD}))

    assert view["recipe"].startswith("1\u202f000 to 6\u202f000 mm/min at 20 to 100 % power")
    assert view["speed_asked"] == "of 1\u202f000 to 6\u202f000 mm/min"
    assert view["power_asked"] == "of 20 to 100 %"
    assert view["speed_words"] == OF_THE_CARD
    assert view["power_words"] == "9.5 W, each patch has its own"
    assert (view["slow_words"], view["darker_words"]) == ("", "")


def test_a_run_of_several_says_which_tile_is_in_work_and_when_it_ends():
    tile = {
        "pocket": 5, "title": "Ida", "number": 3, "tiles": 8, "remaining_s": 600.0,
        "ends_at_utc": "2026-11-25T14:20:00+00:00",
    }  # fmt: skip
    view = run_view(tile=tile)

    ends = clock_time(tile["ends_at_utc"])
    assert view["row_words"] == f"tile 3 of 8, in pocket 5, ends {ends}; row 413 in work"
    held = run_view(tile=tile | {"ends_at_utc": None})
    assert held["row_words"] == "tile 3 of 8, in pocket 5; row 413 in work"
    job = watch_view(snapshot("loaded", job={**JOB, "pockets": [9, 2]}))
    assert job["size"] == "2 tiles, pockets 9, 2 in this order; every other pocket is left out"
