import re

import pytest

from etchweb.logbook.chart import BOTTOM, HEIGHT, LEFT, TOP, WIDTH, RowStatistics, bands, chart


def measured(*rows, mean=4000.0, least=3900.0, most=4100.0, samples=10):
    return [RowStatistics(row, samples, mean, least, most) for row in rows]


def points(path):
    return [(float(x), float(y)) for x, y in re.findall(r"([\d.]+) ([\d.]+)", path)]


def test_the_chart_stays_on_its_paper():
    drawn = chart(measured(*range(1000), most=9000.0), rows=1000, asked=4000.0)

    for x, y in points(drawn.line) + points(drawn.band):
        assert LEFT <= x <= WIDTH
        assert TOP <= y <= HEIGHT - BOTTOM


def test_what_the_recipe_asks_is_drawn_where_a_row_that_reaches_it_is():
    drawn = chart(measured(0, 1, 2), rows=3, asked=4000.0)

    assert {y for _, y in points(drawn.line)} == {drawn.asked_y}


def test_rows_without_dots_leave_a_gap():
    drawn = chart(measured(0, 1, 2, 6, 7), rows=10, asked=4000.0)

    assert drawn.line.count("M") == 2


def test_a_single_row_is_still_to_be_seen():
    (start, end) = points(chart(measured(4), rows=10, asked=4000.0).line)

    assert start == end


def test_many_rows_are_drawn_in_few_points():
    drawn = chart(measured(*range(20_000)), rows=20_000, asked=4000.0)

    assert len(points(drawn.line)) <= 160
    assert len(drawn.line) + len(drawn.band) < 8_000


def test_a_mean_of_rows_weighs_their_samples_and_keeps_the_extremes():
    rows = [
        RowStatistics(0, 30, 4000.0, 3900.0, 4100.0),
        RowStatistics(1, 10, 2000.0, 1500.0, 2500.0),
    ]

    ((first, last, together),) = bands(rows, rows=20)

    assert (first, last) == (0, 1)
    assert together.mean == pytest.approx(3500.0)
    assert (together.least, together.most) == (1500.0, 4100.0)


def test_the_table_covers_the_picture_in_tenths():
    table = bands(measured(*range(995)), rows=995)

    assert len(table) == 10
    assert [first for first, _, _ in table] == [100 * tenth for tenth in range(10)]
    assert table[-1][1] == 994


def test_a_picture_of_three_rows_has_a_table_of_three():
    assert [(first, last) for first, last, _ in bands(measured(0, 1, 2), rows=3)] == [
        (0, 0),
        (1, 1),
        (2, 2),
    ]
