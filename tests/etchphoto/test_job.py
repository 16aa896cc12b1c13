"""From a photograph to a job on disk, the whole way."""

import hashlib
import io
import math
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from etchphoto.decoder.loading import load_photo
from etchphoto.errors import EtchphotoError, NeedsAcknowledgement, PhotoDamaged, UnfitOrder
from etchphoto.expected import FIRED_BLACK
from etchphoto.framing import Crop
from etchphoto.halftone import HALFTONES, JARVIS, STUCKI
from etchphoto.job.order import PhotoOrder, frame_of
from etchphoto.job.order_findings import findings
from etchphoto.job.prepare import prepare_job, shares_to_burn
from etchphoto.measured_tone import MeasuredTone
from etchphoto.resampling import luminance_per_dot
from etchphoto.tone import BURNT_AS_WANTED, Adjustments, ToneCurve
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.catalogue.heads import Register
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, read_sheet
from support.samples.photo_files import HORSE, PHOTOGRAPHS, encoded, scene

pytestmark = pytest.mark.slow

HEAD = PRACTICE_HEADS["practice-20w"]
RECIPE = PRACTICE_RECIPES["practice-20w"]
MAKERS_SPOT = replace(HEAD, is_spot_measured=False)


def order(**changes):
    return PhotoOrder(**({"head": HEAD, "recipe": RECIPE, "width_mm": 20.0} | changes))


def measured(**changes):
    """An order whose greys were measured with its own recipe and halftone."""
    wish = order(**changes)
    return replace(
        wish, tone=MeasuredTone(curve=BURNT_AS_WANTED, recipe=wish.recipe, halftone=wish.halftone)
    )


def a_photo(width=300, height=200):
    return load_photo(io.BytesIO(encoded(scene(width, height), "PNG")), name="scene.png")


def names(found):
    return [finding.name for finding in found]


@pytest.mark.parametrize(
    "path",
    [*(row[1] for row in PHOTOGRAPHS), HORSE],
    ids=[*(row[0] for row in PHOTOGRAPHS), "horse"],
)
@pytest.mark.parametrize(("halftone", "kernel"), [("jarvis", JARVIS), ("stucki", STUCKI)])
def test_a_real_photograph_becomes_a_job_of_the_same_darkness(tmp_path, path, halftone, kernel):
    wish = order(width_mm=25.0, halftone=halftone)
    photo = load_photo(path)
    frame = frame_of(photo, wish)
    wanted = 1 - luminance_per_dot(photo, frame).mean()

    sheet = prepare_job(path, wish, folder=tmp_path / "job")

    # One error of one half, or less, may cross the border at each of its dots' taps.
    around = 2 * (frame.rows + frame.columns) / (frame.rows * frame.columns)
    assert sheet.coverage == pytest.approx(wanted, abs=1.5 * around)
    assert (sheet.columns, sheet.photo.name) == (250, path.name)


def test_the_folder_holds_gcode_sheet_and_the_tile_as_promised(tmp_path):
    photo = a_photo()

    sheet = prepare_job(photo, order(), folder=tmp_path / "job")

    assert read_sheet(tmp_path / "job") == sheet
    gcode = (tmp_path / "job" / GCODE_NAME).read_bytes()
    assert hashlib.sha256(gcode).hexdigest() == sheet.gcode_sha256
    with Image.open(tmp_path / "job" / PICTURE_NAME) as picture:
        burnt = (np.asarray(picture.convert("RGB")) == FIRED_BLACK).all(axis=2)
    assert burnt.mean() == pytest.approx(sheet.coverage)


def test_the_gcode_burns_the_dots_of_the_picture(tmp_path):
    wish = order(width_mm=6.0)
    photo = a_photo()
    prepare_job(photo, wish, folder=tmp_path / "job")

    burnt = _burnt_dots(tmp_path / "job")

    coverage = shares_to_burn(photo, frame_of(photo, wish), wish)
    assert (burnt == HALFTONES[wish.halftone](coverage)).all()


def _burnt_dots(folder):
    """Follow the G-code and return which dots it burns, run by run."""
    sheet = read_sheet(folder)
    lead_mm = sheet.head.register.lead_mm(sheet.recipe.feed_mm_per_min)
    burnt = np.zeros((sheet.rows, sheet.columns), dtype=bool)
    lines = (folder / GCODE_NAME).read_text().splitlines()
    ends = [entry.line for entry in sheet.index[1:]] + [sheet.end_line]
    for entry, end in zip(sheet.index, ends, strict=True):
        is_forward = entry.from_mm < entry.to_mm
        x = entry.from_mm - sheet.picture.left_mm + (lead_mm if is_forward else -lead_mm)
        for line in lines[entry.line : end - 1]:
            move, power = line.removeprefix("G91G1").removeprefix("X").split("S")
            length = float(move)
            if float(power.split("F")[0]) > 0:
                low, high = sorted((x, x + length))
                burnt[entry.row, round(low / 0.1) : round(high / 0.1)] = True
            x += length
    return burnt


def test_the_sheet_says_what_was_asked_for(tmp_path):
    wish = order(
        title="For Ida", halftone="stucki", is_both_directions=False, at_x_mm=50, at_y_mm=30
    )

    sheet = prepare_job(a_photo(), wish, folder=tmp_path / "job")

    assert (sheet.title, sheet.halftone, sheet.is_both_directions) == ("For Ida", "stucki", False)
    assert (sheet.picture.left_mm, sheet.picture.bottom_mm) == (50, 30)
    assert (sheet.head, sheet.recipe) == (HEAD, RECIPE)
    assert sheet.dose_j_per_mm2 == pytest.approx(1.8)  # 12 W, 4000 mm/min, 0.1 mm: computed


def test_a_job_is_called_after_its_photo_when_nobody_says_otherwise(tmp_path):
    assert prepare_job(a_photo(), order(), folder=tmp_path / "job").title == "scene"


def test_adjustments_and_tone_curve_change_how_much_is_burnt(tmp_path):
    photo = a_photo()

    def coverage(name, **changes):
        return prepare_job(photo, order(**changes), folder=tmp_path / name).coverage

    plain = coverage("plain")
    assert coverage("bright", adjustments=Adjustments(brightness=20)) < plain - 0.1
    halving = ToneCurve((0.0, 1.0), (0.0, 0.5))
    halved = coverage("half", tone=MeasuredTone(curve=halving, recipe=RECIPE, halftone="jarvis"))
    assert halved == pytest.approx(plain / 2, abs=0.01)


def test_opened_shadows_burn_less_are_told_before_and_after_and_stay_in_the_sheet(tmp_path):
    photo, wish = a_photo(), order(adjustments=Adjustments(open_shadows=60))

    plain = prepare_job(photo, order(), folder=tmp_path / "plain")
    opened = prepare_job(photo, wish, folder=tmp_path / "opened")

    assert opened.coverage < plain.coverage - 0.02
    assert read_sheet(tmp_path / "opened").open_shadows == 60
    assert "open_shadows" not in (tmp_path / "plain" / SHEET_NAME).read_text()
    told = {one.name: one.sentence for one in findings(photo, wish)}["shadows-opened"]
    # CIE 1976 with black at 0.08 of white, by hand: L* 20 is 0.0299, seen at 0.1075 = 39.15 before;
    # equal steps give 34.0 + 0.2 * 66.0 = 47.2, and 0.6 of half the way there is 41.6
    assert "20 in the photo becomes 42 on the tile instead of 39" in told


def test_whoever_asks_sees_the_dots_before_they_are_written(tmp_path):
    seen = []

    sheet = prepare_job(
        a_photo(), order(), folder=tmp_path / "job", on_dots=lambda *dots: seen.append(dots)
    )

    ((coverage, bits),) = seen
    assert bits.mean() == pytest.approx(sheet.coverage)
    assert coverage.mean() == pytest.approx(sheet.coverage, abs=0.01)


def test_progress_rises_from_nothing_to_all(tmp_path):
    heard = []

    prepare_job(a_photo(), order(), folder=tmp_path / "job", on_progress=heard.append)

    assert heard == sorted(heard)
    assert heard[0] < 0.5
    assert heard[-1] == 1


# Bad orders, as the table of bad input has them.


def test_lines_closer_than_a_measured_spot_are_refused():
    with pytest.raises(UnfitOrder, match=r"measured spot of 0\.08 mm"):
        order(recipe=replace(RECIPE, line_spacing_mm=0.0799))


def test_lines_as_close_as_the_spot_are_allowed():
    wish = order(recipe=replace(RECIPE, line_spacing_mm=0.08), width_mm=16.0)

    assert names(findings(a_photo(), wish)) == ["greys-not-measured"]


def test_lines_closer_than_the_spot_a_maker_states_need_a_yes(tmp_path):
    wish = order(head=MAKERS_SPOT, recipe=replace(RECIPE, line_spacing_mm=0.05))

    with pytest.raises(NeedsAcknowledgement, match="that the maker states") as raised:
        prepare_job(a_photo(), wish, folder=tmp_path / "job")

    assert names(raised.value.findings) == ["spacing-below-spot"]
    assert list(tmp_path.iterdir()) == []


def test_lines_closer_than_the_spot_a_maker_states_are_etched_after_a_yes(tmp_path):
    wish = order(
        head=MAKERS_SPOT,
        recipe=replace(RECIPE, line_spacing_mm=0.05),
        acknowledged=frozenset({"spacing-below-spot"}),
    )

    assert prepare_job(a_photo(), wish, folder=tmp_path / "job").columns == 400


def test_settings_with_more_dose_than_any_surface_needs_need_a_yes(tmp_path):
    """Common practice, no source: 10 J/mm². Test cards asked, and pictures did not."""
    # 20 W * 60 % at 500 mm/min and 0.1 mm: 12 * 60 / (500 * 0.1) = 14.4 J/mm²
    wish = order(recipe=replace(RECIPE, feed_mm_per_min=500.0), width_mm=5.0)

    with pytest.raises(NeedsAcknowledgement, match="give 14 J/mm²") as raised:
        prepare_job(a_photo(), wish, folder=tmp_path / "job")

    assert names(raised.value.findings) == ["high-dose"]
    meant = replace(wish, acknowledged=frozenset({"high-dose"}))
    assert prepare_job(a_photo(), meant, folder=tmp_path / "job").columns == 50


def test_a_yes_to_something_else_is_not_a_yes(tmp_path):
    wish = order(
        head=MAKERS_SPOT,
        recipe=replace(RECIPE, line_spacing_mm=0.05),
        acknowledged=frozenset({"coarse-photo"}),
    )

    with pytest.raises(NeedsAcknowledgement):
        prepare_job(a_photo(), wish, folder=tmp_path / "job")


def test_a_speed_over_the_machines_limit_is_refused():
    with pytest.raises(UnfitOrder, match="up to 10000 mm/min"):
        order(recipe=replace(RECIPE, feed_mm_per_min=10001.0))


def test_an_unknown_halftone_is_refused_with_those_there_are():
    with pytest.raises(UnfitOrder, match="crisp, smooth, firm, lettering, test-card"):
        order(halftone="newspaper")


@pytest.mark.parametrize("value", [None, 0, -3.0, math.nan])
def test_a_width_that_is_none_is_refused(tmp_path, value):
    with pytest.raises(UnfitOrder, match="width"):
        prepare_job(a_photo(), order(width_mm=value), folder=tmp_path / "job")


@pytest.mark.parametrize("size", [{"width_mm": 400.2}, {"width_mm": 300.0, "height_mm": 400.2}])
def test_a_tile_larger_than_the_travel_is_refused(size):
    with pytest.raises(UnfitOrder, match="400 × 400 mm"):
        frame_of(a_photo(), order(**size))


def test_a_tile_that_leaves_no_room_for_the_run_up_is_refused_and_nothing_is_left(tmp_path):
    with pytest.raises(UnfitOrder, match="run-ups"):
        prepare_job(a_photo(), order(width_mm=399.0, height_mm=1.0), folder=tmp_path / "job")

    assert list(tmp_path.iterdir()) == []


def test_a_photo_without_a_dot_is_refused(tmp_path):
    white = load_photo(io.BytesIO(encoded(Image.new("L", (40, 40), 255), "PNG")))

    with pytest.raises(UnfitOrder, match="white all over"):
        prepare_job(white, order(), folder=tmp_path / "job")


def test_a_damaged_photo_leaves_an_existing_job_as_it_was(tmp_path):
    good = prepare_job(a_photo(), order(), folder=tmp_path / "job")
    cut = load_photo(io.BytesIO(encoded(scene(600, 400), "PNG")[:-3000]))

    with pytest.raises(PhotoDamaged):
        prepare_job(cut, order(), folder=tmp_path / "job", is_replacing=True)

    assert read_sheet(tmp_path / "job") == good


def test_every_error_of_ours_is_one_kind():
    for error in (UnfitOrder, NeedsAcknowledgement, PhotoDamaged):
        assert issubclass(error, EtchphotoError)


# Remarks that stop nothing.


def test_a_photo_far_too_small_is_remarked_on():
    assert names(findings(a_photo(60, 40), measured())) == ["coarse-photo"]


def test_a_register_never_measured_is_remarked_on_where_it_matters():
    blind = replace(HEAD, register=Register())

    assert names(findings(a_photo(), measured(head=blind))) == ["register-not-measured"]
    assert names(findings(a_photo(), measured(head=blind, is_both_directions=False))) == ["one-way"]


def test_a_size_that_had_to_be_rounded_is_said():
    (finding,) = findings(a_photo(), measured(width_mm=19.96, crop=Crop(0, 0, 0.5, 1)))

    assert finding.name == "size-rounded"
    assert "20.00 × 26.70 mm" in finding.sentence


def test_common_practice_recipes_make_jobs_for_their_heads(tmp_path):
    # 20 W at 4000 mm/min and 60 %, 10 W at 2400 and 90 %, 5 W at 500 and 80 %, each at 0.1 mm:
    # common practice, no source. Doses computed: P / (v h).
    doses = {}
    for name, head in PRACTICE_HEADS.items():
        wish = measured(head=head, recipe=PRACTICE_RECIPES[name])
        doses[name] = prepare_job(a_photo(), wish, folder=tmp_path / name).dose_j_per_mm2

    assert doses == pytest.approx({"practice-20w": 1.8, "practice-10w": 2.25, "practice-5w": 4.8})
