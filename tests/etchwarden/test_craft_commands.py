"""Lasers, surfaces, recipes, verdicts and the time line by command, against a real logbook."""

import json
import re
from functools import lru_cache

import pytest
from PIL import Image

from darkroom.camera import Shot, photograph
from darkroom.focus import Beam, etch_focus
from darkroom.tile import SURFACES, etch, not_wiped
from etchphoto.job.order_findings import GREYS_NOT_MEASURED
from etchproof.card import UNGLAZED_BACK
from etchproof.layout.job import read_card_file
from etchwire.sheet import read_sheet
from support.harnesses.catalogue_bench import Shop

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("kept_cards")]

TILES = "'white tile'"
OWN = "{here}/shed.toml"


@pytest.fixture
def shop(tmp_path):
    with Shop(tmp_path) as shop:
        (tmp_path / "elsewhere").mkdir()
        yield shop


@pytest.fixture
def photo(tmp_path):
    path = tmp_path / "photo.png"
    Image.linear_gradient("L").resize((64, 64)).save(path)
    return path


@lru_cache(maxsize=4)
def photo_of(card, *, is_wiped=True):
    """Return the photo of a burnt card, which several tests begin with."""
    tile = etch(card, SURFACES["willing"])
    return photograph(tile if is_wiped else not_wiped(tile, haze=0.0)).getvalue()


def test_a_laser_is_described_by_a_file_and_listed_with_its_hours(shop):
    shop.done("laser describe {here}/shed.toml")
    shop.done("laser wiped shed")

    listed = shop.done("laser list")

    assert "shed: 20 W, beam 0.0 h, lens wiped 0.0 h ago, register never measured" in listed
    assert "practice 20 W: 20 W, practice, beam 0.0 h, lens wiped never noted" in listed


def test_the_filter_s_hours_and_limit_are_told_and_a_change_is_noted(shop):
    before = shop.done("laser filter")
    after = shop.done("laser filter --changed --limit 40")

    assert "Filter: beam 0.0 h, changed never noted, limit none" in before
    assert re.search(r"changed \d{4}-\d\d-\d\d, limit 40 h", after)


def test_watts_that_no_diode_gives_are_questioned(shop):
    text = (shop.folder / "shed.toml").read_text().replace("= 20.0", "= 80.0")
    (shop.folder / "shed.toml").write_text(text)

    assert "print the watts" in shop.done("laser describe {here}/shed.toml")


def test_a_surface_is_described_bit_by_bit(shop):
    shop.done(f"surface set {TILES} --batch 'box 3' --coating airbrush --coats 2")
    shop.done(f"surface set {TILES} --batch 'box 4'")

    assert "white tile: batch box 4, coating airbrush, coats 2" in shop.done("surface list")


def test_how_it_is_wiped_belongs_to_the_surface(shop):
    shop.done(f"surface set {TILES} --solvent water --cloth cotton --wait 10 --wiping firmly")

    said = shop.done("surface list")

    assert "solvent water, cloth cotton, minutes before wiping 10, wiped firmly" in said
    assert shop.say(f"surface set {TILES} --wait -1").exit_code != 0


def test_a_recipe_is_written_down_and_retired(shop):
    written = shop.done(f"recipe add --head practice-10w --surface {TILES} --speed 2000 --power 85")
    listed = shop.done(f"recipe list --surface {TILES}")
    shop.done("recipe retire 4")

    assert "(computed, not measured)" in written
    assert "* 4  practice 10 W on white tile: 2000 mm/min, 85 %, 0.1 mm; by hand" in listed
    assert ", retired" in shop.done(f"recipe list --surface {TILES}")


def test_a_card_gets_the_logbook_s_next_number_and_is_filed(shop):
    shop.done("card power -o {here}/first --steps 4 4")
    said = shop.done("card power -o {here}/elsewhere/second --steps 4 4")

    assert "power card 2:" in said
    assert shop.logbook.ask("card", number=2)["head"] == "practice 20 W"


def test_a_card_number_that_is_taken_is_refused(shop):
    shop.done("card power -o {here}/first --steps 4 4")

    result = shop.say("card power -o {here}/elsewhere/second --number 1 --steps 4 4")

    assert result.exit_code == 1
    assert "a card 1" in result.output


def test_a_card_is_burnt_with_the_recipe_in_force(shop):
    shop.done(f"recipe add --head {{here}}/shed.toml --surface {TILES} --speed 2222 --power 44")
    shop.done(f"card five -o {{here}}/five --head shed --surface {TILES}")

    assert read_sheet(shop.folder / "five").head.name == "shed"
    assert 2222.0 in {
        patch.feed_mm_per_min for patch in read_card_file(shop.folder / "five").patches
    }


def test_a_card_has_the_lines_and_the_air_of_the_recipe_in_force(shop):
    shop.done(
        f"recipe add --head {{here}}/shed.toml --surface {TILES} --speed 2222 --power 44 "
        "--spacing 0.15 --air-assist"
    )
    for kind in ("tone", "power"):
        shop.done(f"card {kind} -o {{here}}/{kind} --head shed --surface {TILES}")
        assert read_card_file(shop.folder / kind).recipe.line_spacing_mm == 0.15
        assert read_card_file(shop.folder / kind).recipe.air_assist
    shop.done(f"card tone -o {{here}}/finer --head shed --surface {TILES} --spacing 0.1")

    assert read_card_file(shop.folder / "finer").recipe.line_spacing_mm == 0.1


def test_a_spare_tile_remembers_its_places(shop):
    first = shop.done("card check -o {here}/one --spare 'box 1' --spare-size 100 100")
    second = shop.done("card check -o {here}/two --spare 'box 1'")
    shop.done("card check -o {here}/three --spare 'box 1'")
    shop.done("card check -o {here}/four --spare 'box 1'")

    full = shop.say("card check -o {here}/five --spare 'box 1'")

    assert "On the spare tile box 1 it goes 0 mm from the left edge" in first
    assert "it goes 21 mm from the left edge and 0 mm from the top" in second
    assert full.exit_code != 0
    assert "no place" in full.output
    assert not (shop.folder / "five").exists()
    assert shop.logbook.ask("card", number=2)["place"]["left_mm"] == pytest.approx(21)
    unknown = shop.say("card check -o {here}/six --spare 'box 2'")
    assert "say --spare-size" in unknown.output
    back = shop.say("card check -o {here}/six --back")
    assert UNGLAZED_BACK in back.output


def test_a_card_by_hand_is_read_and_accepted_and_stands_on_the_time_line(shop):
    shop.done(
        f"card power -o {{here}}/first --head {{here}}/shed.toml --surface {TILES} --steps 4 4"
    )
    shop.etch("first")

    said = shop.done("read --card {here}/first --mark B3=good --accept")

    assert "in force" in said
    line = shop.done(f"timeline --head shed --surface {TILES}")
    told = [text.split("h  ")[1].split(":")[0] for text in line.splitlines() if " h  " in text]
    assert told == [
        "card 1, power, burnt by run 1", "run 1, card 1", "reading 1 of card 1 by hand",
        "recipe 4 by reading",
    ]  # fmt: skip


def test_each_reading_names_the_next_command(shop):
    shop.done(
        f"card power -o {{here}}/first --head {{here}}/shed.toml --surface {TILES} --steps 4 4"
    )

    saved = shop.done("read --card {here}/first --mark B3=good --no-accept")
    accepted = shop.done("read --card {here}/first --mark B3=good --accept")

    assert "Next: One test card" in saved
    assert "Next: A register card" in accepted
    assert f"etchwarden card register -o NAME --head shed --surface {TILES}" in accepted


def test_the_first_card_s_damage_is_remembered_by_the_eighth(shop):
    first = "--speeds 1000 2000 --powers 60 80 --steps 2 2"
    later = "--speeds 1500 2100 --powers 60 80 --steps 2 2"
    shop.done(f"card power -o {{here}}/card1 --surface {TILES} {first}")
    shop.done("read --card {here}/card1 --mark 'B1=glaze damaged' --no-accept")  # 2000 at 60 %
    for number in range(2, 9):
        shop.done(f"card power -o {{here}}/card{number} --surface {TILES} {later}")
        said = shop.done(f"read --card {{here}}/card{number} --mark B1=good --no-accept")

    assert "A whole reserve would reach patch B1 of card 1, whose glaze is damaged" in said


def test_a_laser_whose_spot_nobody_stated_is_led_to_a_focus_card(shop):
    file = shop.folder / "new.toml"
    lines = (shop.folder / "shed.toml").read_text().splitlines()
    file.write_text("\n".join(line for line in lines if "spot" not in line))

    said = shop.done("laser describe {here}/new.toml")
    shop.done(f"card power -o {{here}}/first --head shed --surface {TILES} --steps 4 4")

    assert "etchwarden card focus -o NAME --wedge LEFT RIGHT LENGTH --head shed" in said
    (head,) = [one["head"] for one in shop.logbook.ask("heads")["heads"] if one["name"] == "shed"]
    assert not head["is_spot_measured"]
    assert "0.1 × 0.1 mm (assumed: not stated)" in shop.done("laser list")


def test_a_laser_stated_as_wide_as_the_assumed_spot_needs_no_focus_card(shop):
    file = shop.folder / "wide.toml"
    lines = (shop.folder / "shed.toml").read_text().splitlines()
    spots = ("spot_x_mm = 0.1", "spot_y_mm = 0.1")
    file.write_text("\n".join([*spots, *(line for line in lines if not line.startswith("spot"))]))

    said = shop.done("laser describe {here}/wide.toml")

    assert "focus card" not in said


def test_a_person_may_take_another_speed_or_nothing(shop):
    shop.done(f"card power -o {{here}}/first --surface {TILES} --steps 4 4")
    shop.done("read --card {here}/first --mark B3=good", answer="n\n")
    before = shop.logbook.ask("recipes", head="practice 20 W", surface="white tile")["recipes"]
    shop.done("read --card {here}/first --mark B3=good --speed 2500 --power 61 --accept")

    (recipe,) = shop.logbook.ask("recipes", head="practice 20 W", surface="white tile")["recipes"]

    assert before == []
    assert (recipe["feed_mm_per_min"], recipe["power_ratio"]) == (2500.0, 0.61)
    assert shop.logbook.ask("reading", id=2)["recommended"]["recipe"]["feed_mm_per_min"] != 2500.0


@pytest.mark.parametrize(
    ("said", "answer"),
    [("--accept", "could not tell\n"), ("--accept --fingernail 'could not tell'", "")],
    ids=["asked", "said"],
)
def test_the_fingernail_is_asked_for_before_a_recipe_is_accepted(shop, said, answer):
    shop.done(f"card power -o {{here}}/first --surface {TILES} --steps 4 4")
    (shop.folder / "first.jpg").write_bytes(photo_of(read_card_file(shop.folder / "first")))

    heard = shop.done(
        f"read {{here}}/first.jpg --card {{here}}/first --wiped {said}", answer=answer
    )

    assert "in force" in heard
    (word,) = shop.logbook.ask("reading", id=1)["marks"].values()
    assert word == "could not tell"


@pytest.mark.parametrize(
    ("said", "answer", "is_in_force"),
    [("", "n\n", False), ("", "y\n", True), ("--cloth-dirty", "", False)],
    ids=["some comes off", "asked", "said"],
)
def test_a_card_without_black_is_accepted_only_when_a_wet_cloth_stays_clean(
    shop, said, answer, is_in_force
):
    shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 55")
    shop.done(f"card tone -o {{here}}/greys --surface {TILES}")
    card = read_card_file(shop.folder / "greys")
    (shop.folder / "greys.jpg").write_bytes(photo_of(card, is_wiped=False))

    heard = shop.done(
        f"read {{here}}/greys.jpg --card {{here}}/greys --wiped --accept {said}", answer=answer
    )

    assert "Was it wiped?" in heard
    assert ("in force" in heard) is is_in_force
    assert ("Nothing is accepted" in heard) is not is_in_force


def test_hairlines_read_by_eye_give_the_laser_its_register(shop):
    shop.done("recipe add --head {here}/shed.toml --surface t --speed 3000 --power 57")
    shop.done("card register -o {here}/rows --head shed --surface t")
    shop.done("read --card {here}/rows --meets 3000=7 --meets 1500=6 --accept")

    listed = shop.done("laser list").splitlines()
    assert "register measured" in next(line for line in listed if line.startswith("shed"))


def test_what_a_strip_showed_before_it_was_worn_speaks_for_later_cards(shop):
    shop.done(f"card check -o {{here}}/strip --surface {TILES} --speed 3000 --power 60")
    slow = min(read_card_file(shop.folder / "strip").patches, key=lambda one: one.feed_mm_per_min)
    new = {"card": 1, "way": "hand", "marks": {slow.cell: "glaze damaged"}, "summary": {}}
    worn = {"card": 1, "way": "camera", "summary": {"trial": "dishwasher", "cycles": 9}}
    for reading in (new, worn):
        shop.logbook.note("save_reading", reading=reading)
    speeds = f"{slow.feed_mm_per_min * 1.05:.0f} {slow.feed_mm_per_min * 1.5:.0f}"
    grid = f"--speeds {speeds} --powers 60 80 --steps 2 2"
    shop.done(f"card power -o {{here}}/first --surface {TILES} {grid}")

    said = shop.done("read --card {here}/first --mark A1=good --no-accept")

    assert f"would reach patch {slow.cell} of card 1, whose glaze is damaged" in said


def test_own_figures_leave_the_greys_of_a_tone_card_out_and_say_so(shop):
    shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 55")
    shop.done(f"card tone -o {{here}}/greys --surface {TILES}")
    (shop.folder / "greys.jpg").write_bytes(photo_of(read_card_file(shop.folder / "greys")))
    read = "read {here}/greys.jpg --card {here}/greys --wiped --accept"

    own = shop.done(f"{read} --speed 2500")
    as_read = shop.done(read)

    curves = [
        bool(one["tone_curve"])
        for one in shop.logbook.ask("recipes", head="practice 20 W", surface="white tile")[
            "recipes"
        ]
    ]
    assert curves == [True, False, False]
    assert ("their tone curve is left out" in own, "left out" in as_read) == (True, False)


def test_focus_cards_at_two_places_say_by_command_what_to_pack_where(shop):
    wedge = "--wedge 0 15 100 --head practice-20w --surface t --speed 3000 --power 55"
    for name, place in (("one", "centre"), ("two", "back left")):
        shop.done(f"card focus -o {{here}}/{name} {wedge} --bed-place '{place}'")
    high = {"bed_place": "back left", "best_focus_mm": 9.0, "best_focus_doubt_mm": 0.1}
    reading = {"card": 2, "way": "camera", "summary": high | {"in_focus_mm": 1.0}}
    shop.logbook.note("save_reading", reading=reading)
    beam = Beam(across_at_mm=6.0, along_at_mm=6.0, m_squared=12)
    tile = etch_focus(read_card_file(shop.folder / "one"), SURFACES["willing"], beam)
    (shop.folder / "one.jpg").write_bytes(photograph(tile, Shot(tilt_degrees=15)).read())

    said = shop.done("read {here}/one.jpg --card {here}/one --wiped --no-accept")

    assert "Back left: in focus 9.0 mm up, 3.0 mm higher than the centre" in said
    assert "pack a tile up by 3.0 mm at the back left" in said
    assert "Not measured yet: front left, front right, back right." in said


def test_a_file_about_a_laser_does_not_undo_what_was_measured(shop):
    test_hairlines_read_by_eye_give_the_laser_its_register(shop)

    shop.done("card power -o {here}/next --head {here}/shed.toml --surface t --steps 4 4")

    assert read_sheet(shop.folder / "next").head.register.is_measured


def test_a_photo_without_a_recipe_is_offered_a_card(shop, photo):
    result = shop.say(f"prepare {photo} -o {{here}}/job --width 20 --surface {TILES}")

    assert result.exit_code == 1
    assert "a power card" in result.output
    assert not (shop.folder / "job").exists()


def test_a_photo_is_etched_with_the_recipe_in_force(shop, photo):
    shop.done(f"recipe add --head {{here}}/shed.toml --surface {TILES} --speed 2222 --power 44")

    said = shop.done(f"prepare {photo} -o {{here}}/job --width 20 --head shed --surface {TILES}")

    recipe = read_sheet(shop.folder / "job").recipe
    assert (recipe.feed_mm_per_min, recipe.power_ratio) == (2222.0, 0.44)
    assert GREYS_NOT_MEASURED in said


def test_a_measured_tone_curve_and_register_are_used(shop, photo):
    shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 50")
    plain = shop.done(f"prepare {photo} -o {{here}}/plain --width 20 --surface {TILES}")
    (recipe,) = shop.logbook.ask("recipes", head="practice 20 W", surface="white tile")["recipes"]
    names = ("head", "surface", "feed_mm_per_min", "power_ratio", "line_spacing_mm")
    curve = {"wanted": [0.0, 0.5, 1.0], "to_burn": [0.0, 0.2, 1.0]}
    shop.logbook.note(
        "save_recipe", recipe={name: recipe[name] for name in names} | {"tone_curve": curve}
    )

    said = shop.done(f"prepare {photo} -o {{here}}/curved --width 20 --surface {TILES}")

    assert "Greys not measured" in plain
    assert "Greys not measured" not in said
    shares = [read_sheet(shop.folder / job).coverage for job in ("plain", "curved")]
    assert shares[1] < shares[0] - 0.1
    assert read_sheet(shop.folder / "curved").head.register.is_measured


def test_dots_from_the_test_card_are_the_default_once_a_tile_with_them_was_good(shop, photo):
    shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 50")
    (recipe,) = shop.logbook.ask("recipes", head="practice 20 W", surface="white tile")["recipes"]
    names = ("head", "surface", "feed_mm_per_min", "power_ratio", "line_spacing_mm")
    dot = {"spread_dots": 0.45, "threshold": 0.2, "scale": 0.3, "steepness": 2.5, "black": 0.06}
    curve = {"wanted": [0.0, 0.5, 1.0], "to_burn": [0.0, 0.2, 1.0], "dot": dot}
    shop.logbook.note(
        "save_recipe", recipe={name: recipe[name] for name in names} | {"tone_curve": curve}
    )
    etched = []

    for job, wish in (("first", ""), ("second", "--halftone test-card"), ("third", "")):
        shop.done(f"prepare {photo} -o {{here}}/{job} --width 8 --surface {TILES} {wish}")
        etched.append(read_sheet(shop.folder / job).halftone)
        shop.done(f"verdict {shop.etch(job)} good")

    assert etched == ["jarvis", "test-card", "test-card"]


CHANGES = {
    "another box of tiles": ("--batch 'box 2'", "", "a different batch"),
    "another can": ("--can 8", "", "a different can of paint"),
    "another way to coat": ("--coating roller", "", "put on differently"),
    "another solvent": ("--solvent thinner", "", "wiped differently"),
    "air assist": ("", "--air-assist", "Air assist was switched"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_recipe_found_with_something_else_says_so_and_offers_a_card(shop, photo, change):
    told, wish, words = CHANGES[change]
    shop.done(f"surface set {TILES} --batch 'box 1' --can 7 --coating spray --solvent water")
    shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 50")
    before = shop.done(f"prepare {photo} -o {{here}}/before --width 20 --surface {TILES}")
    if told:
        shop.done(f"surface set {TILES} {told}")

    said = shop.done(f"prepare {photo} -o {{here}}/job --width 20 --surface {TILES} {wish}")

    assert "card" not in before.replace("tone card", "").replace("etchwarden card", "")
    assert words in said
    assert "card" in said


def test_two_bad_tiles_of_one_kind_speak_for_a_test(shop, photo):
    shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 50")
    shop.done(f"prepare {photo} -o {{here}}/job --width 20 --surface {TILES}")
    shop.done(f"verdict {shop.etch('job')} pale --cause 'too fast'")
    once = shop.done(f"timeline --head practice-20w --surface {TILES}")
    shop.done(f"verdict {shop.etch('job')} pale")

    said = shop.done(f"timeline --head practice-20w --surface {TILES}")

    assert once.startswith("Nothing speaks for a test.")
    assert said.startswith("The last 2 tiles came out “pale”: wipe the lens")
    assert "verdict on run 1: pale, because too fast" in said


@pytest.mark.parametrize(
    ("hours", "words"),
    [(7.9, "Nothing speaks for a test."), (8.2, "since its lens was wiped"), (41, "the last card")],
)
def test_hours_of_beam_speak_for_a_clean_lens_and_then_for_a_card(shop, photo, hours, words):
    shop.done("laser wiped 'practice 20 W'")
    shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 50")
    shop.done(f"prepare {photo} -o {{here}}/job --width 20 --surface {TILES}")
    sheet = read_sheet(shop.folder / "job")
    row_s = sheet.coverage * sheet.width_mm / 3000.0 * 60
    shop.etch("job", etched_rows=round(hours * 3600 / row_s))

    assert words in shop.done(f"timeline --head practice-20w --surface {TILES}")


def test_a_card_that_reads_paler_than_the_recipe_did_speaks_for_a_test(shop):
    shop.done("card power -o {here}/first --surface t --steps 4 4")
    for lightness in (30.0, 30.4, 36.0):
        reading = {"card": 1, "way": "camera", "summary": {"lightness_at_recipe": lightness}}
        number = shop.logbook.note("save_reading", reading=reading)["id"]
        if number == 1:
            settings = {"feed_mm_per_min": 3000.0, "power_ratio": 0.5, "line_spacing_mm": 0.1}
            shop.logbook.note("accept_reading", reading=1, chosen={"recipe": settings})

    assert "of lightness away" in shop.done("timeline --head practice-20w --surface t")


def test_an_etch_that_ran_too_slow_speaks_for_a_test(shop, photo):
    shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 50")
    shop.done(f"prepare {photo} -o {{here}}/job --width 20 --surface {TILES}")
    shop.etch("job", feed_share=0.9)

    told = json.loads(shop.done(f"timeline --head practice-20w --surface {TILES} --json"))

    assert ["slower than" in sentence for sentence in told["advice"]] == [True]
    assert [event["kind"] for event in told["events"]] == ["run", "recipe"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("laser describe nosuch.toml", "there is no laser 'nosuch.toml'"),
        ("laser wiped nobody", "knows no laser 'nobody'"),
        ("surface set '' --batch 1", "is no name of a surface"),
        ("surface set a --coated-on May", "is no date"),
        ("surface set a --coating dip", "is not one of"),
        ("recipe add --head practice-20w --surface a --speed 0 --power 50", "above zero"),
        ("recipe add --head practice-20w --surface a --speed 1 --power 150", "150 % is more"),
        ("recipe retire 99", "no recipe 99"),
        ("verdict 99 good", "no run 99"),
        ("verdict 1 fine", "is not one of"),
        ("timeline --head nobody --surface a", "there is no laser"),
        ("read --mark B2=good", "which one card"),
        ("laser list --daemon /nowhere", "does not answer"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_ends_in_a_sentence(shop, words, sentence):
    result = shop.say(words)

    assert result.exit_code != 0
    assert sentence in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        ("--speed 2000", "another speed,"),
        ("--power 60 --spacing 0.12", "another power and line spacing,"),
        ("--halftone stucki", "another halftone,"),
    ],
)
def test_a_tone_curve_is_left_out_where_it_was_measured_otherwise(shop, photo, wish, words):
    curve = {"wanted": [0.0, 0.5, 1.0], "to_burn": [0.0, 0.2, 1.0]}
    shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 50")
    (recipe,) = shop.logbook.ask("recipes", head="practice 20 W", surface="white tile")["recipes"]
    names = ("head", "surface", "feed_mm_per_min", "power_ratio", "line_spacing_mm")
    kept = {name: recipe[name] for name in names}
    shop.logbook.note(
        "save_recipe", recipe=kept | {"tone_curve": curve, "halftone": "floyd-steinberg"}
    )

    said = shop.done(f"prepare {photo} -o {{here}}/job --width 20 --surface {TILES} {wish}")

    assert f"The greys were measured with {words}" in said


def test_a_new_recipe_says_that_it_leaves_measured_greys_behind(shop):
    curve = {"wanted": [0.0, 0.5, 1.0], "to_burn": [0.0, 0.2, 1.0]}
    first = shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 3000 --power 50")
    (recipe,) = shop.logbook.ask("recipes", head="practice 20 W", surface="white tile")["recipes"]
    names = ("head", "surface", "feed_mm_per_min", "power_ratio", "line_spacing_mm")
    kept = {name: recipe[name] for name in names} | {"tone_curve": curve}
    shop.logbook.note("save_recipe", recipe=kept)
    shop.done(f"card power -o {{here}}/first --surface {TILES} --steps 4 4")

    by_card = shop.done("read --card {here}/first --mark B3=good --accept")
    shop.logbook.note("save_recipe", recipe=kept)
    by_hand = shop.done(f"recipe add --head practice-20w --surface {TILES} --speed 2000 --power 50")

    words = "Greys were measured with the recipe before this one (3000 mm/min, 50 %)"
    assert words not in first
    assert words in by_card
    assert words in by_hand
