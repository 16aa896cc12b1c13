"""A mural: tiles of one picture, whose dots and lines go on behind the joints."""

import re
from dataclasses import replace
from io import BytesIO
from tempfile import TemporaryFile

import cv2
import numpy as np
import pytest
from fontTools.pens.recordingPen import RecordingPen
from fontTools.ttLib import TTFont
from PIL import Image

from darkroom.practice import burnt_by_practice
from etchphoto.decoder.loading import load_photo
from etchphoto.dots.eye import sharp_sigma_dots
from etchphoto.errors import JobNotWritable, UnfitDesign
from etchphoto.expected import DotLook
from etchphoto.halftone import HALFTONES
from etchphoto.job.order import DEFAULT_HALFTONE, PhotoOrder, frame_of
from etchphoto.job.prepare import shares_to_burn
from etchphoto.layout.design import PhotoLayer
from etchphoto.layout.mural import Mural, TileShade, Wall, WallDots, as_weak
from etchphoto.layout.mural_job import mural_job, prepare_again, prepare_mural
from etchphoto.lettering.fonts import find_font
from etchphoto.measured_tone import MeasuredTone
from etchphoto.tone import BURNT_AS_WANTED
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, read_sheet
from support.samples.designs import MURAL as TEXT
from support.samples.designs import mural_of_toml, span_mm
from support.samples.photo_files import encoded, scene

pytestmark = pytest.mark.slow

HEAD, RECIPE = PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"]
DOT = Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06)  # invented
TONE = MeasuredTone(curve=BURNT_AS_WANTED, recipe=RECIPE, halftone="jarvis", dot=DOT)


def order(**changes):
    wish = {"head": HEAD, "recipe": RECIPE, "width_mm": 1.0, "halftone": DEFAULT_HALFTONE}
    return PhotoOrder(**wish | changes)


@pytest.fixture
def photo(tmp_path):
    (tmp_path / "sea.png").write_bytes(encoded(scene(500, 300), "PNG"))
    return load_photo(tmp_path / "sea.png")


def courses(job):
    return np.concatenate(list(job.courses()))


def test_a_wall_is_as_large_as_its_tiles_and_joints():
    wall = Wall(columns=6, rows=8, tile_width_mm=100, tile_height_mm=100, joint_mm=3)

    assert (wall.width_mm, wall.height_mm, wall.tiles) == (615, 821, 48)


@pytest.mark.parametrize("spacing_mm", [0.1, 0.13, 0.254])
def test_every_tile_begins_within_half_a_dot_of_its_place(spacing_mm):
    wall = Wall(columns=9, rows=4, tile_width_mm=50, tile_height_mm=40, joint_mm=2.7)
    dots = WallDots(wall=wall, spacing_mm=spacing_mm)

    for place in dots.places():
        at_mm = place.column * 52.7, place.row * 42.7
        starts = place.columns.start * spacing_mm, place.rows.start * spacing_mm
        assert starts == pytest.approx(at_mm, abs=spacing_mm / 2 + 1e-9)
        assert place.columns.stop - place.columns.start == round(50 / spacing_mm)
    assert [place.number for place in dots.places()] == list(range(1, 37))
    assert dots.columns == place.columns.stop
    assert dots.rows == place.rows.stop


def test_the_tiles_are_parts_of_one_picture_made_into_dots_as_a_whole(photo):
    """The same photo at the wall's size, halftoned in one piece, holds every tile bit for bit.

    Bands are resampled one by one: where a share lies on a knife's edge a dot may differ.
    """
    job = replace(mural_job(mural_of_toml(TEXT), order(), photo), dots_at_once=10_000)
    whole_order = order(width_mm=job.dots.columns * 0.1, height_mm=job.dots.rows * 0.1)
    shares = shares_to_burn(photo, frame_of(photo, whole_order), whole_order)
    whole = HALFTONES[DEFAULT_HALFTONE](shares)

    made = courses(job)

    rows = np.r_[0:80, 92:172]
    assert job.dots.course(1)[0].rows == slice(92, 172)
    assert (made != whole[rows]).mean() < 0.001


def test_a_tile_made_again_alone_is_identical(photo, tmp_path):
    job = mural_job(mural_of_toml(TEXT), order(), photo)
    seconds = prepare_mural(job, folder=tmp_path / "wall")
    names = (GCODE_NAME, PICTURE_NAME, "job.json")
    first = {name: (tmp_path / "wall/tile-5" / name).read_bytes() for name in names}

    again = prepare_again(job, 5, folder=tmp_path / "wall")

    assert list(seconds) == [1, 2, 3, 4, 5, 6]
    assert again == read_sheet(tmp_path / "wall/tile-5")
    assert again.predicted_s == seconds[5]
    assert again.title == "Harbour & sea, tile 5 of 6"
    assert {name: (tmp_path / "wall/tile-5" / name).read_bytes() for name in names} == first


@pytest.mark.slow
def test_a_lettered_tile_of_searched_dots_made_again_alone_is_identical(photo, tmp_path):
    text = LETTER_H.replace("= 12", "= 4").replace("= 9", "= 3")
    job = mural_job(mural_of_toml(text), order(halftone="test-card", tone=TONE), photo)
    prepare_mural(job, folder=tmp_path / "wall")
    names = (GCODE_NAME, PICTURE_NAME, "job.json")
    first = {name: (tmp_path / "wall/tile-2" / name).read_bytes() for name in names}

    prepare_again(job, 2, folder=tmp_path / "wall")

    assert {name: (tmp_path / "wall/tile-2" / name).read_bytes() for name in names} == first
    other = mural_job(mural_of_toml(text.replace('"H"', '"I"')), job.order, photo)
    with pytest.raises(UnfitDesign, match="would not be what it was"):
        prepare_again(other, 2, folder=tmp_path / "wall")


def test_a_tile_is_not_made_again_from_another_photo_or_with_other_settings(photo, tmp_path):
    mural = mural_of_toml(TEXT)
    job = mural_job(mural, order(), photo)
    with pytest.raises(UnfitDesign, match="make all of it first"):
        prepare_again(job, 5, folder=tmp_path / "wall")
    prepare_mural(job, folder=tmp_path / "wall")

    with pytest.raises(UnfitDesign, match="the tiles 1 to 6"):
        prepare_again(job, 7, folder=tmp_path / "wall")
    slower = order(recipe=replace(RECIPE, feed_mm_per_min=3000))
    with pytest.raises(UnfitDesign, match=r"made with other settings, 4000 mm/min and 60%"):
        prepare_again(mural_job(mural, slower, photo), 5, folder=tmp_path / "wall")
    (tmp_path / "sea.png").write_bytes(encoded(scene(501, 300), "PNG"))
    changed = mural_job(mural, order(), load_photo(tmp_path / "sea.png"))
    with pytest.raises(UnfitDesign, match="changed since"):
        prepare_again(changed, 5, folder=tmp_path / "wall")
    with pytest.raises(JobNotWritable, match="holds other things"):
        prepare_mural(job, folder=tmp_path / "wall")


def test_white_and_black_are_those_that_the_weakest_tile_can_show():
    """Murray-Davies, by hand: on a tile of 0.8 and 0.05, white of 0.7 needs (0.8 - 0.7) / 0.75
    burnt, and black of 0.1 needs (0.8 - 0.1) / 0.75; the weakest tile is burnt as wanted."""
    shades = (
        TileShade(number=1, white=0.8, black=0.05),
        TileShade(number=2, white=0.7, black=0.1),
    )
    wall = Wall(columns=2, rows=1, tile_width_mm=1, tile_height_mm=0.2, joint_mm=0.1)
    mural = Mural(name="two", wall=wall, photo=mural_of_toml(TEXT).photo, shades=shades)
    places = list(WallDots(wall=wall, spacing_mm=0.1).places())
    wanted = np.tile(np.linspace(0, 1, 2, dtype=np.float32)[:, np.newaxis], (1, 21))

    shares = as_weak(mural, places, wanted.copy(), 0)

    assert shares[:, :10] == pytest.approx(np.tile([[0.1 / 0.75], [0.7 / 0.75]], (1, 10)))
    assert shares[:, 10:] == pytest.approx(wanted[:, 10:])


UNFIT = (
    ("columns = 3", "colums = 3", "the wall cannot have the entry 'colums' on line 7"),
    ("columns = 3", "columns = 3.5", "the wall, columns on line 7: expected `int`"),
    ("columns = 3", "columns = 0", "1 to 1000 tiles"),
    ("joint_mm = 1.25", "joint_mm = 12", "a joint of 12.0 mm is none"),
    ("columns = 3", "columns = 900", "1 to 1000 tiles"),
    ("etchwarden-mural", "etchwarden-design", "no mural of ours"),
    ("joint_mm = 1.25", "joint_mm = 1\n[photo]\nsharpness = 1", "look at what lies round a dot"),
    ("joint_mm = 1.25", "joint_mm = 1\n[[tile]]\nnumber = 7\nwhite = 0.8\nblack = 0.1",
     "a number from 1 to 6"),
    ("joint_mm = 1.25", "joint_mm = 1\n[[tile]]\nnumber = 6\nwhite = 0.1\nblack = 0.8",
     "more white than black"),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "said"), UNFIT, ids=[row[1] for row in UNFIT])
def test_a_mural_that_nobody_can_lay_is_refused(old, new, said, photo):
    with pytest.raises(UnfitDesign) as refused:
        mural_job(mural_of_toml(TEXT.replace(old, new)), order(), photo)

    assert said in str(refused.value)


def test_the_plan_tells_all_that_is_needed_to_lay_the_tiles(photo, tmp_path):
    prepare_mural(mural_job(mural_of_toml(TEXT), order(), photo), folder=tmp_path / "wall")

    plan = (tmp_path / "wall/plan.svg").read_text()

    assert "Harbour &amp; sea" in plan
    assert "3 × 2 tiles of 10 × 8 mm, joint 1.25 mm" in plan
    assert "Overall 32.5 × 17.25 mm" in plan
    assert re.findall(r">\s*(\d)</text>", plan) == list("123456")
    assert plan.count("<path") == 6
    assert 'width="297mm" height="210mm"' in plan  # A4 lying (ISO 216)


@pytest.mark.slow
def test_lines_go_on_straight_over_the_joints_within_a_tenth_of_a_millimetre(tmp_path):
    """Four tiles etched on the practice machine, put together with the joint between them.

    The photo holds two straight edges that cross the joints; through each, on all four tiles, one
    straight line is laid, and the edge is nowhere further from it.
    """
    across, down = np.meshgrid(np.arange(1300) + 0.5, np.arange(1300) + 0.5)
    slanted = (down > 250 + 0.35 * across) ^ (across > 300 + 0.4 * down)
    photo_file = tmp_path / "lines.png"
    Image.fromarray((~slanted * 255).astype(np.uint8)).save(photo_file)
    wall = TEXT.replace("columns = 3", "columns = 2").replace("1.25", "3")
    mural = mural_of_toml(wall.replace("height_mm = 8", "height_mm = 10"))
    job = mural_job(mural, order(halftone="threshold", at_x_mm=20.0, at_y_mm=5.0),
                    load_photo(photo_file))  # fmt: skip
    prepare_mural(job, folder=tmp_path / "wall")

    mm = 0.025
    seen = np.full((round(23 / mm), round(23 / mm)), np.nan)
    for place in job.dots.places():
        gcode = (tmp_path / "wall" / job.folder_name(place) / GCODE_NAME).read_bytes()
        tile = burnt_by_practice(gcode, HEAD, "white-tile").tile
        top, left = round(place.row * 13 / mm), round(place.column * 13 / mm)
        seen[top : top + 400, left : left + 400] = tile.reflectance(
            mm_per_px=mm, rectangle=(20.0, 5.0, 30.0, 15.0)
        )

    px_per_mm = 1300 / 23
    for steps, at_start, slope in ((seen, 250, 0.35), (seen.T, 300, 0.4)):
        columns, edges = _edges_near(steps, mm, at_start / px_per_mm, slope)
        line = np.polyfit(columns, edges, 1)
        assert {*(columns > 11.5)} == {False, True}  # on both sides of the joint
        assert np.abs(np.polyval(line, columns) - edges).max() < 0.1
        assert line == pytest.approx([slope, at_start / px_per_mm], abs=0.1)


@pytest.mark.slow
def test_a_letter_over_a_joint_has_the_strokes_of_its_font_on_both_tiles(tmp_path):
    """An H, its bar over the joint, etched on the practice machine and put together.

    Where its stems and its bar begin and end is what the font's `glyf` table says, read by
    fontTools, within one dot; so the bar goes on behind the joint at the same height.
    """
    (tmp_path / "white.png").write_bytes(encoded(np.full((60, 130, 3), 255, np.uint8), "PNG"))
    job = mural_job(mural_of_toml(LETTER_H), order(halftone="threshold", at_x_mm=20.0, at_y_mm=5.0),
                    load_photo(tmp_path / "white.png"))  # fmt: skip
    prepare_mural(job, folder=tmp_path / "wall")

    mm, seen = 0.025, []
    for place in job.dots.places():
        gcode = (tmp_path / "wall" / job.folder_name(place) / GCODE_NAME).read_bytes()
        tile = burnt_by_practice(gcode, HEAD, "white-tile").tile
        seen.append(tile.reflectance(mm_per_px=mm, rectangle=(20.0, 5.0, 32.0, 17.0)))
    left, right = (one < (one.max() + one.min()) / 2 for one in seen)

    text = job.letterings[0]
    (line,), em_mm, dot_mm = text.lines, text.em_mm, job.dots.spacing_mm
    x, y = outline_of("H")  # left stem, right stem; foot, bar, top
    foot = round((line.baseline_mm - 1) / mm)
    stem_mm = [line.x_mm + edge * em_mm for edge in x]
    assert span_mm(left[foot], mm) == pytest.approx(stem_mm[:2], abs=dot_mm)
    assert span_mm(right[foot], mm) == pytest.approx([at - 14 for at in stem_mm[2:]], abs=dot_mm)
    bar_mm = line.baseline_mm - y[2] * em_mm, line.baseline_mm - y[1] * em_mm
    for tile, column in ((left, 450), (left, 470), (right, 10), (right, 30)):
        assert span_mm(tile[:, column], mm) == pytest.approx(bar_mm, abs=dot_mm)


@pytest.mark.parametrize(
    ("left_mm", "is_said"), [(1.0, False), (4.5, True), (9.9, True), (11.4, False)]
)
def test_lettering_that_a_joint_would_cut_is_told(photo, left_mm, is_said):
    """Tiles of 10 mm with joints of 1.25 mm: 6 mm of letters from there on leave theirs."""
    box = f"{{ left_mm = {left_mm}, top_mm = 1, width_mm = 6, height_mm = 6 }}"
    layer = f'[[layer]]\nkind = "lettering"\ntext = "MMMM"\nfont = "Aileron"\nbox = {box}\n'

    told = mural_job(mural_of_toml(f"{TEXT}\n{layer}"), order(), photo).layer_findings

    assert ("lettering-over-joint" in {one.name for one in told}) is is_said


LETTER_H = """
format = "etchwarden-mural"
version = 1
name = "H"

[wall]
columns = 2
rows = 1
tile_width_mm = 12
tile_height_mm = 12
joint_mm = 2

[[layer]]
kind = "lettering"
text = "H"
font = "Aileron"
size_mm = 9
"""


def outline_of(letter):
    """Return where a glyph's straight edges lie across and up, in shares of an em, rising."""
    font = TTFont(find_font("Aileron").file)
    glyphs, pen = font.getGlyphSet(), RecordingPen()
    glyphs[font.getBestCmap()[ord(letter)]].draw(pen)
    points = [point for _, points in pen.value for point in points]
    return [
        [edge / font["head"].unitsPerEm for edge in sorted({point[axis] for point in points})]
        for axis in (0, 1)
    ]


def test_tiles_whose_dots_are_searched_for_meet_as_one_picture():
    """Beside a joint of no width greys are those wanted, and less is wrong than by a kernel.

    What is wrong is the darkness of the dots, each tile fired by itself, less the wanted one, as
    far as an eye at arm's length blends it. Edges get no light from beyond; the search makes up
    for that, error diffusion over both tiles does not.
    """
    job = searched_job()
    wanted = np.concatenate([shares_of(job, place) for place in job.dots.places()], axis=1)
    crisp = replace(job, order=replace(job.order, halftone="floyd-steinberg"))

    searched, by_kernel = (dark_of(one) - wanted for one in (job, crisp))

    beside, seam = (slice(74, 80), slice(80, 86)), slice(78, 82)
    assert [searched[:, columns].mean() for columns in beside] == pytest.approx([0, 0], abs=0.02)
    assert seen(searched)[seam].mean() < 0.6 * seen(by_kernel)[seam].mean()
    assert seen(searched).mean() < seen(by_kernel).mean()


def test_a_tile_that_is_searched_for_alone_has_the_dots_that_it_had_among_others():
    job = searched_job()
    among = {place.number: bits for place, bits in job.tiles()}

    ((place, alone),) = job.tiles(only={2})

    assert place.number == 2
    assert (alone == among[2]).all()


def searched_job():
    """Return the job of a grey ramp over two tiles of 8 × 6 mm that touch."""
    ramp = np.tile(np.linspace(40, 220, 320, dtype=np.uint8)[None, :, None], (120, 1, 3))
    wall = Wall(columns=2, rows=1, tile_width_mm=8, tile_height_mm=6, joint_mm=0)
    mural = Mural(name="ramp", wall=wall, photo=PhotoLayer())
    photo = load_photo(BytesIO(encoded(ramp, "PNG")), name="ramp.png")
    return mural_job(mural, order(halftone="test-card", tone=TONE), photo)


def shares_of(job, place):
    with TemporaryFile() as file:
        return job._shares(job._light(file), (place.rows, place.columns))


def dark_of(job):
    """Return the darkness of all tiles, each fired by itself, side by side."""
    return np.concatenate([DotLook(DOT).darkness(bits) for _, bits in job.tiles()], axis=1)


def seen(off):
    """Return how much of what is wrong is seen in each column of dots, root mean square."""
    blurred = cv2.GaussianBlur(off, (0, 0), sharp_sigma_dots(RECIPE.line_spacing_mm))
    return np.sqrt((blurred**2).mean(axis=0))


def _edges_near(seen, mm, start_mm, slope):
    """Return where an edge crosses each column, in mm, as far as it is seen on a tile."""
    columns, edges = [], []
    for column in range(0, seen.shape[1], 4):
        x_mm = (column + 0.5) * mm
        middle = round((start_mm + slope * x_mm) / mm)
        part = seen[middle - 16 : middle + 16, column]
        dark = part < 0.45
        if np.isnan(part).any() or (dark[:-1] != dark[1:]).sum() != 1 or dark[0] == dark[-1]:
            continue  # in a joint, or where both edges meet
        columns.append(x_mm)
        edges.append((middle - 16 + np.flatnonzero(dark[:-1] != dark[1:])[0] + 1) * mm)
    return np.array(columns), np.array(edges)
