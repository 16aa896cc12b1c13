"""The time line: everything about a laser on a surface in one order, and nothing else."""

import pytest

from etchdaemon.errors import CommandRefused
from etchwire.catalogue.examples import PRACTICE_SURFACE
from support.harnesses.logbooks import END, EVENT, LONG_S, STARTED_UTC, Disk, NamedLogbook, row_of
from support.samples.sheets import sheet_of

HEAD = "practice 20 W"
PAIR = {"head": HEAD, "surface": PRACTICE_SURFACE}
SETTINGS = {"feed_mm_per_min": 3000.0, "power_ratio": 0.5, "line_spacing_mm": 0.1}
CARD_GCODE = "cd" * 32


class Shop:
    """A logbook and its clock; each verb happens a minute after the one before."""

    def __init__(self, path):
        self.minute = 0
        self.logbook = NamedLogbook(Disk(path).open, utc_now=self.now, confirm_timeout_s=LONG_S)

    def now(self):
        return f"2026-11-25T18:{self.minute:02}:00+00:00"

    def pass_a_minute(self):
        self.minute += 1

    def note(self, command, **parameters):
        self.pass_a_minute()
        return self.logbook.note(command, **parameters)["id"]

    def etch(self, *, feed=4000.0, **changes):
        self.pass_a_minute()
        sheet = sheet_of(**changes).to_json()
        run = self.logbook.start_run(sheet_json=sheet, started_at_utc=self.now(), notes={})
        self.logbook.note_rows(run, [row_of(0, feed=feed)])
        self.logbook.end_run(run, **END)
        self.logbook.confirm_event(run, **EVENT)
        return run

    def burn_card(self, number=1, gcode=CARD_GCODE):
        card = {"number": number, "kind": "power", **PAIR, "gcode_sha256": gcode}
        self.note("save_card", card=card | {"layout_packed": "packed"})
        return self.etch(gcode_sha256=gcode)

    def read(self, number=1, **summary):
        reading = {"card": number, "way": "camera", "summary": summary}
        return self.note("save_reading", reading=reading)

    def judge(self, run, verdict):
        return self.note("save_verdict", run=run, verdict=verdict, cause="", note="", photo="")

    def time_line(self, before="", limit=500, **pair):
        return self.logbook.ask("time_line", **(PAIR | pair), before=before, limit=limit)

    def kinds(self, **pair):
        return [event["kind"] for event in reversed(self.time_line(**pair)["events"])]

    def history(self, **pair):
        return self.logbook.ask("history", **(PAIR | pair))


@pytest.fixture
def shop(tmp_path):
    shop = Shop(tmp_path / "logbook.sqlite3")
    with shop.logbook:
        shop.logbook.introduce_practice()
        yield shop


def test_the_order_is_that_of_the_writing_whatever_the_clock_does(shop):
    shop.burn_card()
    shop.read()
    shop.minute = 0  # the clock is set back
    shop.note("save_recipe", recipe={**PAIR, **SETTINGS})
    shop.minute -= 1
    shop.read()
    shop.minute -= 1  # and two things happen at the same time
    shop.burn_card(2, "ef" * 32)

    assert shop.kinds() == ["recipe", "card", "run", "reading", "recipe", "reading", "card", "run"]


def test_everything_stands_in_the_order_in_which_it_happened(shop):
    shop.note("wipe_lens", head=HEAD)
    shop.burn_card()
    reading = shop.read(lightness_at_recipe=31.5)
    shop.note("accept_reading", reading=reading, chosen={"recipe": SETTINGS})
    shop.judge(shop.etch(feed=3700.0), "good")

    assert shop.kinds() == [
        "recipe", "lens wiped", "card", "run", "reading", "recipe", "run", "verdict",
    ]  # fmt: skip


def test_every_step_shows_its_numbers(shop):
    shop.burn_card()
    reading = shop.read(lightness_at_recipe=31.5)
    shop.note("accept_reading", reading=reading, chosen={"recipe": SETTINGS}, who="Ada")
    shop.judge(shop.etch(feed=3700.0), "pale")

    verdict, run, recipe, read, burnt, card, _ = shop.time_line()["events"]

    assert (card["id"], card["run_id"], card["card_kind"]) == (1, burnt["id"], "power")
    assert (burnt["card_number"], run["card_number"]) == (1, None)
    assert read["summary"] == {"lightness_at_recipe": 31.5}
    assert (read["chosen"], read["chosen_by"]) == ({"recipe": SETTINGS}, "Ada")
    assert (recipe["feed_mm_per_min"], recipe["power_ratio"]) == (3000.0, 0.5)
    assert (run["feed_asked_mm_per_min"], run["feed_run_mm_per_min"]) == (4000.0, 3700.0)
    assert (run["verdict"], verdict["verdict"], verdict["run_id"]) == ("pale", "pale", run["id"])


def test_beam_hours_grow_from_run_to_run(shop):
    """By hand: 40 % of 10 mm in 20 rows at 4000 mm/min are 1.2 s of beam."""
    shop.burn_card()
    shop.read()
    shop.etch()

    hours = [event["beam_h"] for event in reversed(shop.time_line()["events"])]

    assert hours == [round(seconds / 3600, 4) for seconds in (0, 0, 1.2, 1.2, 2.4)]


@pytest.mark.parametrize("limit", [1, 2, 3, 500])
def test_page_by_page_it_is_the_same_time_line(shop, limit):
    shop.burn_card()
    shop.minute -= 1  # the clock is set back, and two things happen in one minute
    shop.read()
    shop.judge(shop.etch(), "good")
    whole = shop.time_line()["events"]

    pages, before = [], ""
    while before is not None:
        page = shop.time_line(before=before, limit=limit)
        pages += page["events"]
        before = page["next_before"]

    assert pages == whole
    assert len(whole) == 6


@pytest.mark.parametrize("pair", [{"head": "practice 10 W"}, {"surface": "slate"}, {"head": ""}])
def test_what_happened_with_another_laser_or_surface_stands_elsewhere(shop, pair):
    shop.burn_card()
    shop.read()
    shop.judge(shop.etch(), "good")

    assert [kind for kind in shop.kinds(**pair) if kind != "recipe"] == []


@pytest.mark.parametrize("before", ["yesterday", "-1", "1.5", "²", "9" * 5000])
def test_a_place_that_is_none_is_refused(shop, before):
    with pytest.raises(CommandRefused, match="no place on the time line"):
        shop.time_line(before=before)


def test_the_history_tells_what_was_since_the_recipe(shop):
    shop.judge(shop.etch(feed=2000.0), "broken")
    shop.burn_card()
    reading = shop.read(lightness_at_recipe=30.0)
    shop.note("accept_reading", reading=reading, chosen={"recipe": SETTINGS})
    runs = [shop.etch(feed=3900.0), shop.etch(feed=3800.0)]
    shop.judge(runs[0], "good")
    shop.judge(runs[0], "pale")
    shop.judge(runs[1], "pale")

    history = shop.history()

    assert [run["id"] for run in history["runs"]] == runs
    assert [run["feed_run_mm_per_min"] for run in history["runs"]] == [3900.0, 3800.0]
    assert [one["verdict"] for one in history["verdicts"]] == ["pale", "pale"]
    assert [one["summary"]["lightness_at_recipe"] for one in history["readings"]] == [30.0]
    assert history["recipe"]["reading_id"] == reading


def test_readings_of_an_earlier_recipe_say_nothing_of_the_one_in_force(shop):
    shop.burn_card()
    shop.read(lightness_at_recipe=30.0)
    second = shop.read(lightness_at_recipe=36.0)
    shop.note("accept_reading", reading=second, chosen={"recipe": SETTINGS})
    shop.read(lightness_at_recipe=37.0)
    shop.read()

    readings = shop.history()["readings"]

    assert [one["summary"]["lightness_at_recipe"] for one in readings] == [36.0, 37.0]


def lightness_of(readings):
    return [one["summary"]["lightness_at_recipe"] for one in readings]


def test_a_fade_goes_on_through_cards_that_file_the_same_recipe_again(shop):
    """Each was accepted: greys, and a strip on which the recipe holds."""
    for number, lightness in enumerate((30.0, 32.0, 34.0), start=1):
        shop.burn_card(number, f"{number:02}" * 32)
        reading = shop.read(number, lightness_at_recipe=lightness)
        shop.note("accept_reading", reading=reading, chosen={"recipe": SETTINGS})

    assert lightness_of(shop.history()["readings"]) == [30.0, 32.0, 34.0]


@pytest.mark.parametrize("is_new", ["can", "speed"])
def test_a_new_can_or_another_speed_begins_the_readings_anew(shop, is_new):
    shop.burn_card()
    first = shop.read(lightness_at_recipe=30.0)
    shop.note("accept_reading", reading=first, chosen={"recipe": SETTINGS})
    if is_new == "can":
        shop.note("save_surface", surface={"name": PRACTICE_SURFACE, "can": "another"})
    second = shop.read(lightness_at_recipe=36.0)
    chosen = SETTINGS | ({"feed_mm_per_min": 2500.0} if is_new == "speed" else {})
    shop.note("accept_reading", reading=second, chosen={"recipe": chosen})

    assert lightness_of(shop.history()["readings"]) == [36.0]


def test_however_many_cards_were_read_since_the_recipe_s_own_reading_stays_the_first(shop):
    shop.burn_card()
    own = shop.read(lightness_at_recipe=30.0)
    shop.note("accept_reading", reading=own, chosen={"recipe": SETTINGS})
    for number in range(25):
        shop.read(lightness_at_recipe=31.0 + number / 100)

    shown = lightness_of(shop.history()["readings"])

    assert (len(shown), shown[0], shown[-1]) == (20, 30.0, 31.24)


def test_a_recipe_by_hand_is_told_of_by_readings_of_cards_burnt_since(shop):
    shop.burn_card()
    shop.read(lightness_at_recipe=30.0)
    shop.etch()
    shop.note("save_recipe", recipe={**PAIR, **SETTINGS})
    shop.burn_card(2, "ef" * 32)
    shop.read(2, lightness_at_recipe=33.0)

    readings = shop.history()["readings"]

    assert [one["summary"]["lightness_at_recipe"] for one in readings] == [33.0]


def test_beam_hours_since_the_last_card_begin_with_its_burning(shop):
    shop.burn_card()
    shop.etch()
    shop.etch(feed=2000.0)

    assert shop.history()["beam_h_since_card"] == pytest.approx((1.2 + 2.4) / 3600)


def test_without_a_card_they_begin_with_the_recipe(shop):
    shop.etch()
    shop.note("save_recipe", recipe={**PAIR, **SETTINGS})
    shop.etch()

    assert shop.history()["beam_h_since_card"] == pytest.approx(1.2 / 3600)


def test_the_history_of_what_nobody_knows_is_empty(shop):
    history = shop.history(head="nobody's", surface="moon")

    assert (history["head"], history["surface"], history["recipe"]) == (None, None, None)
    assert (history["runs"], history["verdicts"], history["readings"]) == ([], [], [])


def test_runs_are_summed_once_however_late_their_rows_are(shop):
    run = shop.etch()

    record = shop.logbook.ask("run", id=run)

    assert record["beam_s"] == pytest.approx(1.2)
    assert record["feed_run_mm_per_min"] == record["comparison"]["feed_mean_mm_per_min"]
    assert record["started_at_utc"] > STARTED_UTC
