"""Bench plans: pictures laid into the pockets of a jig, and what cannot be laid so."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from etchphoto.errors import JobNotWritable, UnfitDesign, UnfitOrder
from etchphoto.expected import save_expected
from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import write_dots
from etchphoto.layout.bench import BenchPlan, Laid, prepare_bench, prepare_some
from etchphoto.layout.jig import Corners, Jig, Pockets
from etchwire.catalogue.jigs import Side
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, read_sheet
from support.samples.sheets import HEAD, RECIPE
from support.samples.strokes import strokes

JIG = Jig(
    name="Two coasters",
    pockets=Pockets(columns=2, rows=1, pitch_x_mm=14, pitch_y_mm=12, width_mm=12, height_mm=10),
    corners=Corners(lower_left_mm=(6.0, 5.0), upper_right_mm=(32.0, 15.0)),
    exhaust=Side.RIGHT,
    tile_mm=5.0,
    focus_depth_mm=0.6,
)


@pytest.fixture
def job(tmp_path):
    """Return a call that makes the job of a random picture, of so many rows and columns."""

    def make(name, rows=40, columns=60, **changes):
        bits = np.random.default_rng(len(name)).random((rows, columns)) < 0.5
        folder = tmp_path / name
        folder.mkdir()
        order = PhotoOrder(**{"head": HEAD, "recipe": RECIPE, "width_mm": 1.0} | changes)
        write_dots(bits, replace(order, title=name), folder)
        save_expected(bits, folder / PICTURE_NAME)
        return folder

    return make


def plan_of(*laid, jig=JIG, **changes):
    return BenchPlan(name="tonight", jig=jig, laid=laid, **changes)


def test_every_picture_lies_in_the_middle_of_its_tile_and_the_exhausts_end_comes_first(
    job, tmp_path
):
    plan = plan_of(
        Laid(pocket=1, job=job("ida"), item=12),
        Laid(pocket=2, job=job("house number", 20), width_mm=11.0, height_mm=9.0),
    )

    sheet = prepare_bench(plan, folder=tmp_path / "bench")

    assert read_sheet(tmp_path / "bench") == sheet
    right, left = sheet.parts
    assert [(part.pocket, part.title, part.item) for part in sheet.parts] == [
        (2, "house number", 0),
        (1, "ida", 12),
    ]
    # The pockets' middles are at 12 and 26 mm, and at 10; the pictures are 6 mm wide.
    assert (left.picture.left_mm, left.picture.bottom_mm) == pytest.approx((9.0, 8.0))
    assert (right.picture.left_mm, right.picture.bottom_mm) == pytest.approx((23.0, 9.0))
    assert plan.empty == ()
    assert plan_of(plan.laid[0]).empty == (2,)


def test_the_tiles_as_promised_stand_one_above_the_other_as_the_rows_are_numbered(job, tmp_path):
    ida, number = job("ida"), job("house number", 20, 30)
    plan = plan_of(Laid(pocket=1, job=ida), Laid(pocket=2, job=number))

    prepare_bench(plan, folder=tmp_path / "bench")

    with Image.open(tmp_path / "bench" / PICTURE_NAME) as picture:
        seen = np.asarray(picture.convert("L"))
    assert seen.shape == (60, 60)
    for name, rows, columns, top in (("house number", 20, 30, 0), ("ida", 40, 60, 20)):
        bits = np.random.default_rng(len(name)).random((rows, columns)) < 0.5
        assert ((seen[top : top + rows, :columns] < 90) == bits).all()


def test_a_tile_again_and_all_but_one_are_at_their_places(job, tmp_path):
    laid = [Laid(pocket=1, job=job("ida")), Laid(pocket=2, job=job("house number", 20))]
    prepare_bench(plan_of(*laid), folder=tmp_path / "bench")

    again = prepare_some(tmp_path / "bench", [1], folder=tmp_path / "again")
    without = prepare_some(tmp_path / "bench", [2], folder=tmp_path / "less", is_left_out=True)

    assert again.parts == without.parts
    whole, some = (
        strokes((tmp_path / name / GCODE_NAME).read_bytes()) for name in ("bench", "again")
    )
    assert some == [found for found in whole if found in some]
    with Image.open(tmp_path / "bench" / PICTURE_NAME) as picture:
        lower = np.asarray(picture)[20:]
    with Image.open(tmp_path / "again" / PICTURE_NAME) as picture:
        assert (np.asarray(picture) == lower).all()
    with pytest.raises(UnfitDesign, match="nothing lies in pocket 3 of this bench"):
        prepare_some(tmp_path / "bench", [3], folder=tmp_path / "other")
    with pytest.raises(UnfitOrder, match="no pocket holds anything to etch"):
        prepare_some(tmp_path / "bench", [1, 2], folder=tmp_path / "other", is_left_out=True)
    with pytest.raises(UnfitDesign, match="a bench of its own"):
        prepare_bench(plan_of(Laid(pocket=1, job=tmp_path / "again")), folder=tmp_path / "other")


UNFIT = (
    ({"pocket": 3}, "has the pockets 1 to 2, and no pocket 3"),
    ({"pocket": 2}, "two pictures lie in pocket 2"),
    ({"width_mm": 12.1}, "pocket 1: a tile of 12.1 × 10 mm does not lie in a pocket of 12 × 10"),
    ({"width_mm": 5.9}, "of pocket 1, 6.0 × 4.0 mm, reaches beyond its tile of 5.9 × 10 mm"),
    ({"height_mm": 3.9}, "reaches beyond its tile of 12 × 3.9 mm"),
    ({"warp_mm": 0.7}, "pocket 1 is warped by 0.7 mm, and the laser is in focus over 0.6 mm"),
    ({"thickness_mm": 5.4}, "pocket 1 is 5.4 mm thick, and Two coasters is for 5 mm"),
    ({"thickness_mm": 4.6}, "pocket 1 is 4.6 mm thick"),
)


@pytest.mark.parametrize(("change", "said"), UNFIT, ids=[str(row[0]) for row in UNFIT])
def test_what_cannot_be_laid_is_refused_with_its_pocket(job, tmp_path, change, said):
    laid = Laid(**{"pocket": 1, "job": job("ida")} | change)
    other = Laid(pocket=2, job=job("house number"))

    with pytest.raises(UnfitDesign) as refused:
        prepare_bench(plan_of(other, laid), folder=tmp_path / "bench")

    assert said in str(refused.value)
    assert not (tmp_path / "bench").exists()


def test_what_was_not_measured_is_not_judged_and_a_depth_nobody_measured_is_small(job, tmp_path):
    ida = job("ida")
    plan_of(Laid(pocket=1, job=ida, thickness_mm=5.3, warp_mm=0.6)).tiles()
    unknown = replace(JIG, tile_mm=0.0, focus_depth_mm=0.0)
    plan_of(Laid(pocket=1, job=ida, thickness_mm=9.0, warp_mm=0.2), jig=unknown).tiles()

    with pytest.raises(UnfitDesign, match=r"in focus over 0\.2 mm"):
        plan_of(Laid(pocket=1, job=ida, warp_mm=0.3), jig=unknown).tiles()


def test_a_matching_set_takes_one_lot_and_other_tiles_any(job, tmp_path):
    laid = (
        Laid(pocket=1, job=job("ida"), lot="spring"),
        Laid(pocket=2, job=job("house number"), lot="summer"),
    )

    assert len(plan_of(*laid).tiles()) == 2
    with pytest.raises(UnfitDesign, match="come from one lot, not from spring and summer"):
        plan_of(*laid, is_set=True).tiles()


def test_tiles_of_one_mural_take_one_lot_whatever_else_lies_beside_them(job):
    made = job("ida")

    def tiles(*said):
        laid = (
            Laid(pocket=pocket, job=made, lot=lot, set_name=name)
            for pocket, (lot, name) in enumerate(said, 1)
        )
        return plan_of(*laid).tiles()

    for unrelated in ("", "another wall"):
        assert len(tiles(("lot 7", "wall"), ("lot 8", unrelated))) == 2
    assert len(tiles(("lot 7", "wall"), ("lot 7", "wall"))) == 2
    with pytest.raises(UnfitDesign, match="one lot, not from lot 7 and lot 8"):
        tiles(("lot 7", "wall"), ("lot 8", "wall"))


def test_a_jig_beyond_the_bed_an_empty_one_and_jobs_that_are_gone_are_refused(job, tmp_path):
    short = job("short", head=replace(HEAD, travel_x_mm=20.0))
    with pytest.raises(UnfitDesign, match="moves only 20 × 300 mm"):
        plan_of(Laid(pocket=1, job=short)).tiles()
    with pytest.raises(UnfitDesign, match="every pocket is empty"):
        plan_of().tiles()
    with pytest.raises(UnfitDesign, match="pocket 2: no job sheet can be read in"):
        plan_of(Laid(pocket=2, job=tmp_path / "gone")).tiles()
    faster = job("faster one", recipe=replace(RECIPE, feed_mm_per_min=5000.0))
    laid = (Laid(pocket=1, job=job("ida")), Laid(pocket=2, job=faster))
    with pytest.raises(UnfitOrder, match="another laser or by another recipe"):
        prepare_bench(plan_of(*laid), folder=tmp_path / "bench")
    (tmp_path / "file").write_text("")
    with pytest.raises(JobNotWritable):
        prepare_bench(plan_of(laid[0]), folder=tmp_path / "file")
    assert not (tmp_path / "bench" / SHEET_NAME).exists()
