"""Layers laid on one tile: where every dot lies, against plain geometry."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchphoto.errors import UnfitDesign
from etchphoto.layout.composing import lay_over, set_letterings
from etchphoto.layout.design import Box, Shape
from etchphoto.layout.grid import Grid
from etchphoto.layout.shapes import distance_mm
from support.harnesses.examples import examples
from support.samples.designs import all_black, design, dots, span_mm
from support.samples.parts_of_dots import half_a_dot_on, in_halves, shortest_run

BOX = "box = { left_mm = 5, top_mm = 5, width_mm = 30, height_mm = 20 }"
AREAS = {  # of 30 × 20 mm, corners of 5 mm: elementary
    "rectangle": 600.0,
    "rounded": 600 - (4 - np.pi) * 25,
    "circle": np.pi * 100,
    "oval": np.pi * 150,
}


@pytest.mark.parametrize("shape", AREAS)
def test_a_mask_leaves_the_area_of_its_shape(shape):
    bits = dots(['kind = "photo"', f'kind = "mask"\nshape = "{shape}"\n{BOX}'],
                photo=all_black(300, 400))  # fmt: skip

    assert bits.sum() / 100 == pytest.approx(AREAS[shape], rel=0.002)
    assert bits.any(axis=0).sum() == (200 if shape == "circle" else 300)


@pytest.mark.parametrize("shape", AREAS)
def test_an_outline_has_its_width_inside_the_edge(shape):
    bits = dots([f'kind = "outline"\nshape = "{shape}"\nline_mm = 1.5\n{BOX}'])

    middle_row, middle_column = bits[150], bits[:, 200]
    width = 20 if shape == "circle" else 30
    assert span_mm(middle_row) == pytest.approx((20 - width / 2, 20 + width / 2), abs=0.051)
    assert (middle_row.sum(), middle_column.sum()) == pytest.approx((30, 30), abs=1)
    assert not bits[100:200, 150:250].any()


def test_the_line_of_an_oval_is_as_wide_between_its_axes():
    """Its area is that between the curve and its parallel: perimeter × width - π width².

    The perimeter of an ellipse of 15 and 10 mm is 79.327 mm (Ramanujan's second approximation).
    """
    bits = dots([f'kind = "outline"\nshape = "oval"\nline_mm = 1.5\n{BOX}'])

    assert bits.sum() / 100 == pytest.approx(79.327 * 1.5 - np.pi * 1.5**2, rel=0.01)


def test_a_soft_edge_fades_to_white_at_the_shape_and_leaves_the_middle():
    kept = []
    dots(
        ['kind = "photo"', f'kind = "mask"\nshape = "oval"\nsoft_mm = 4\n{BOX}'],
        photo=lambda fade: kept.append(fade(slice(0, 300))) or kept[0] > 0,
    )

    row = kept[0][150]
    assert row[:50].max() == 0
    assert row[50] < 0.01
    assert row[70] == pytest.approx(0.5, abs=0.05)  # two of four millimetres inside
    assert (row[92:308] > 0.999).all()
    assert np.abs(np.diff(row)).max() < 0.05


def test_each_layer_is_laid_over_those_before_it():
    bits = dots(
        [
            'kind = "photo"',
            f'kind = "mask"\nshape = "rectangle"\n{BOX}',
            f'kind = "lettering"\ntext = "I"\nink = "white"\n{BOX}',
        ],
        photo=all_black(300, 400),
    )

    assert not bits[:50].any()
    assert bits[150, 60:150].all()
    assert not bits[150, 195:205].any()  # the letter's stem


def test_a_field_is_of_the_other_colour_and_reaches_as_far_as_was_said():
    box = "box = { left_mm = 10, top_mm = 10, width_mm = 20, height_mm = 10 }"
    bits = dots([f'kind = "lettering"\ntext = "I"\nink = "white"\nfield_mm = 2\n{box}'])

    assert span_mm(bits.any(axis=1)) == pytest.approx((10, 20), abs=0.101)
    letter = ~bits[150, bits[150].argmax() :][: bits.any(axis=0).sum()]
    assert span_mm(letter)[0] == pytest.approx(2, abs=0.101)


def test_a_lettering_that_outgrows_its_box_says_the_size_that_fits():
    box = "box = { left_mm = 5, top_mm = 5, width_mm = 20, height_mm = 10 }"
    layer = f'kind = "lettering"\ntext = "Margarethe"\n{box}\nsize_mm = '
    with pytest.raises(UnfitDesign, match=r"layer 1 \(lettering\): “Margarethe” becomes") as error:
        dots([f"{layer}8"])

    fitting = str(error.value).partition("make them ")[2].split()[0]
    left_mm, right_mm = span_mm(dots([f"{layer}{fitting}"]).any(axis=0))
    assert 19.5 < right_mm - left_mm <= 20.1


def test_distances_from_a_rounded_rectangle_are_those_of_geometry():
    """Elementary: along the axes, and from a corner's own centre."""
    box = Box(left_mm=0, top_mm=0, width_mm=20, height_mm=10)
    x, y = np.array([10.0, -3.0, 10.0, 20.0, 10.0]), np.array([-2.0, 5.0, 5.0, 0.0, 9.0])

    away = distance_mm(Shape.ROUNDED, box, 2.0, x, y)

    assert away == pytest.approx([2, 3, -5, np.hypot(2, 2) - 2, -1])


@pytest.mark.parametrize("half", [(15.0, 10.0), (10.0, 10.0)])
def test_the_middle_of_an_oval_is_inside(half):
    box = Box(left_mm=0, top_mm=0, width_mm=2 * half[0], height_mm=2 * half[1])

    away = distance_mm(Shape.OVAL, box, 0.0, np.array([half[0]]), np.array([half[1]]))

    assert away == -half[1]


@pytest.mark.parametrize(("side", "fits"), [(400.0, True), (600.0, False)])
def test_a_tile_of_more_dots_than_one_job_has_is_refused(side, fits):
    layers = ['kind = "outline"\nshape = "circle"\nline_mm = 1']
    if fits:
        assert dots(layers, spacing_mm=0.1, width_mm=side, height_mm=side).shape == (4000, 4000)
        return

    with pytest.raises(UnfitDesign, match="one job can have"):
        dots(layers, width_mm=side, height_mm=side)


def test_a_tile_in_a_design_may_have_a_margin_that_nothing_crosses():
    assert design(['kind = "outline"\nshape = "circle"\nline_mm = 1'], margin_mm=3.0)
    with pytest.raises(UnfitDesign, match=r"from 3 to 37 mm across and from 3 to 27 mm down"):
        design([f'kind = "outline"\nshape = "circle"\nline_mm = 1\n{BOX.replace("= 20", "= 23")}'],
               margin_mm=3.0)  # fmt: skip


LAYERS = [
    'kind = "photo"',
    f'kind = "mask"\nshape = "oval"\n{BOX}',
    'kind = "outline"\nshape = "circle"\nline_mm = 0.7\nink = "white"',
    f'kind = "lettering"\ntext = "Ida"\nink = "white"\nfield_mm = 1\nsize_mm = 7\n{BOX}',
]


def some_photo(rows, columns, seed=4):
    """Return the dots of a photo, of some long and some short runs."""
    return np.random.default_rng(seed).random((rows, columns)).cumsum(axis=1) % 3 < 1.5


def test_over_a_photo_of_whole_dots_in_halves_layers_lie_as_over_whole_dots():
    photo = some_photo(300, 400)

    whole = dots(LAYERS, photo=lambda _: photo)
    halves = dots(LAYERS, photo=lambda _: in_halves(photo))

    assert (halves == in_halves(whole)).all()


def test_over_a_part_of_a_wall_in_halves_layers_lie_as_over_all_of_it():
    wall = design(LAYERS)
    grid, letterings = Grid.of(wall.tile, 0.1), set_letterings(wall)
    photo = some_photo(300, 400)
    part = in_halves(photo[90:210, 130:300])

    lay_over(part, wall, grid, letterings, top=90, left=130)

    assert (part == in_halves(dots(LAYERS, photo=lambda _: photo)[90:210, 130:300])).all()


def test_layers_are_laid_over_both_halves_and_leave_the_rest_of_the_photo_as_it_is():
    photo = half_a_dot_on(some_photo(300, 400))
    laid = [dots(LAYERS, photo=lambda _, is_burnt=is_burnt: np.full((300, 400), is_burnt))
            for is_burnt in (False, True)]  # fmt: skip

    bits = dots(LAYERS, photo=lambda _: photo)

    is_photo = laid[0] != laid[1]
    assert (bits[~is_photo] == in_halves(laid[0])[~is_photo]).all()
    inside = is_photo[:, 1:-1] & is_photo[:, :-2] & is_photo[:, 2:]
    assert inside.mean() > 0.2
    assert (bits[:, 1:-1][inside] == photo[:, 1:-1][inside]).all()


def test_where_a_layer_cuts_off_half_a_dot_no_run_is_left_that_is_shorter_than_a_dot():
    photo = half_a_dot_on(some_photo(300, 400))

    bits = dots(LAYERS, photo=lambda _: photo)

    assert shortest_run(bits) == 2
    assert bits.mean() == pytest.approx(
        dots(LAYERS, photo=lambda _: photo[..., 0]).mean(), abs=0.01
    )


@examples(40)
@given(st.integers(0, 2**60 - 1), st.integers(0, 29), st.integers(0, 28))
def test_a_photo_is_cut_at_any_place_to_runs_of_a_dot_and_more(pattern, left, right):
    rows = np.array([pattern >> number & 1 for number in range(60)], dtype=bool).reshape(2, 30)
    photo = half_a_dot_on(rows)
    boxes = [f"box = {{ left_mm = {at / 10}, top_mm = 0, width_mm = {wide}, height_mm = 0.2 }}"
             for at, wide in ((left, 0.1), (right, 0.2))]  # fmt: skip
    layers = [f'kind = "outline"\nshape = "rectangle"\nline_mm = 1\nink = "{ink}"\n{box}'
              for ink, box in zip(("burnt", "white"), boxes, strict=True)]  # fmt: skip

    bits = dots(['kind = "photo"', *layers], photo=lambda _: photo, width_mm=3.0, height_mm=0.2)

    assert shortest_run(bits) >= 2
