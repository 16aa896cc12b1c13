"""Cards as G-code: each row its own speed, each stretch its own power."""

import hashlib
import io
import re
from dataclasses import replace

import numpy as np
import pytest

from etchpath.errors import JobDoesNotFit, NothingToEtch
from etchpath.writer.cards import CardOrder, write_card
from etchpath.writer.span_row import HURRIED_GAP_UM, SpanRow
from etchwire.catalogue.heads import Head, Recipe, Register
from etchwire.sheet import Sheet

HEAD = Head(
    name="an invented head",
    rated_optical_w=12.0,
    spot_x_mm=0.08,
    spot_y_mm=0.08,
    is_spot_measured=True,
    max_s=1000.0,
    max_feed_mm_per_min=10000.0,
    acceleration_mm_per_s2=1000.0,
    travel_x_mm=200.0,
    travel_y_mm=200.0,
)
RECIPE = Recipe(
    surface="an invented tile", feed_mm_per_min=1000.0, power_ratio=0.9, line_spacing_mm=0.1
)


def row(number, *spans, feed=3000.0, is_forward=True):
    begin, end, s = (np.array(values, dtype=np.int64) for values in zip(*spans, strict=True))
    return SpanRow(
        row=number, feed_mm_per_min=feed, begin_um=begin, end_um=end, s=s, is_forward=is_forward
    )


def written(*rows, head=HEAD, **wishes):
    said = {"rows": 20, "columns": 300, "coverage": 0.1, "is_both_directions": True} | wishes
    order = CardOrder(title="a test", head=head, recipe=RECIPE, halftone="none", **said)
    file = io.BytesIO()
    sheet = write_card(rows, file, order)
    return file.getvalue(), sheet


def burnt(gcode):
    """Follow the file: (y, from, to, S, F) of every move with the beam on, in mm."""
    x = y = s = f = 0.0
    is_relative = is_rapid = False
    found = []
    for line in gcode.decode("ascii").splitlines():
        words = [(letter, float(v)) for letter, v in re.findall(r"([A-Z])([-.\d]+)", line)]
        codes = {f"{letter}{v:g}" for letter, v in words if letter in "GM"}
        is_relative = "G91" in codes or (is_relative and "G90" not in codes)
        is_rapid = "G0" in codes or (is_rapid and "G1" not in codes)
        values = dict(words)
        s, f = values.get("S", s), values.get("F", f)
        start = x
        x = values.get("X", 0.0 if is_relative else x) + (x if is_relative else 0.0)
        y = values.get("Y", 0.0 if is_relative else y) + (y if is_relative else 0.0)
        if not is_rapid and s and x != start:
            found.append((round(y, 6), round(start, 6), round(x, 6), s, f))
    return found


def test_every_stretch_lies_in_its_place_with_its_own_power_and_speed():
    gcode, _ = written(
        row(0, (0, 5000, 300), (6000, 9000, 800), feed=1200.0),
        row(19, (2000, 2100, 450), feed=4000.0),
        at_x_mm=10.0, at_y_mm=5.0,
    )  # fmt: skip

    assert burnt(gcode) == [
        (6.95, 10.0, 15.0, 300.0, 1200.0),
        (6.95, 16.0, 19.0, 800.0, 1200.0),
        (5.05, 12.0, 12.1, 450.0, 4000.0),
    ]


def test_a_row_to_the_left_burns_the_same_stretches_in_the_other_order():
    gcode, _ = written(
        row(3, (0, 5000, 300), (6000, 9000, 800), is_forward=False), at_x_mm=10.0, at_y_mm=5.0
    )

    assert [(start, end, s) for _, start, end, s, _ in burnt(gcode)] == [
        (19.0, 16.0, 800.0),
        (15.0, 10.0, 300.0),
    ]


def test_stretches_that_touch_have_no_move_between_them():
    gcode, _ = written(row(0, (0, 5000, 300), (5000, 9000, 800)))

    assert b"X0S0" not in gcode
    assert [s for *_, s, _ in burnt(gcode)] == [300.0, 800.0]


def test_the_register_puts_both_directions_earlier_unless_it_is_to_be_found():
    head = replace(HEAD, register=Register(beam_lag_s=0.0004, slack_mm=0.06, is_measured=True))
    rows = (row(0, (5000, 6000, 500)), row(1, (5000, 6000, 500), is_forward=False))
    lead = 3000 / 60 * 0.0004 + 0.03

    corrected, _ = written(*rows, head=head, at_x_mm=20.0)
    bare, _ = written(*rows, head=head, at_x_mm=20.0, is_register_corrected=False)

    assert [start for _, start, *_ in burnt(corrected)] == [25.0 - lead, 26.0 + lead]
    assert [start for _, start, *_ in burnt(bare)] == [25.0, 26.0]


def test_a_long_bare_stretch_is_crossed_at_full_speed_with_the_beam_off():
    gcode, _ = written(row(0, (0, 1000, 500), (1000 + HURRIED_GAP_UM, 8000, 500), feed=600.0))

    assert b"X5.5S0F10000\nX1.5S500F600\n" in gcode


def test_a_shorter_one_is_crossed_at_the_row_s_own_speed():
    gcode, _ = written(row(0, (0, 1000, 500), (999 + HURRIED_GAP_UM, 8000, 500), feed=600.0))

    assert b"F10000" not in gcode


def test_the_sheet_knows_every_row_by_line_byte_and_place():
    gcode, sheet = written(row(0, (0, 5000, 300)), row(7, (0, 5000, 300), feed=1234.5))

    lines = gcode.splitlines()
    for entry in sheet.index:
        assert gcode[entry.byte :].splitlines()[0] == lines[entry.line - 1]
        assert lines[entry.line - 1].startswith(b"G90G0X")
        assert b"F" in lines[entry.line]
    assert [entry.row for entry in sheet.index] == [0, 7]
    assert lines[sheet.end_line - 1] == b"M5"
    assert sheet.gcode_sha256 == hashlib.sha256(gcode).hexdigest()
    assert Sheet.from_json(sheet.to_json()) == sheet


def test_nothing_goes_below_the_origin_unless_it_was_placed_there():
    _, sheet = written(row(0, (0, 5000, 300), feed=8000.0))

    assert sheet.motion.left_mm == 0
    assert sheet.picture.left_mm == sheet.index[0].from_mm + 9.8  # v²/2a and a tenth, rounded up


@pytest.mark.parametrize(
    ("rows", "wishes", "words"),
    [
        ([row(0, (0, 5000, 300), feed=10001.0)], {}, "faster than an invented head can move"),
        ([row(0, (0, 195_000, 300), feed=6000.0)], {}, "mm wide with its run-ups"),
        ([row(0, (0, 5000, 300))], {"at_x_mm": 194.0}, "mm wide with its run-ups"),
        ([row(0, (0, 5000, 300))], {"at_y_mm": 199.0}, "mm high"),
        ([row(0, (0, 5000, 300))], {"at_x_mm": float("nan")}, "cannot be placed"),
    ],
)
def test_a_card_beyond_the_machine_is_refused_before_a_byte_is_written(rows, wishes, words):
    file = io.BytesIO()
    said = {"rows": 20, "columns": 300, "coverage": 0.1, "is_both_directions": True} | wishes
    order = CardOrder(title="a test", head=HEAD, recipe=RECIPE, halftone="none", **said)

    with pytest.raises(JobDoesNotFit, match=words):
        write_card(rows, file, order)
    assert file.getvalue() == b""


def test_a_card_without_a_row_is_refused():
    with pytest.raises(NothingToEtch):
        written()


def test_the_sheet_of_a_card_states_the_speeds_and_powers_of_its_patches():
    _, sheet = written(
        row(0, (0, 5000, 300), (6000, 9000, 900), feed=3000.0), row(1, (0, 5000, 600), feed=1500.0)
    )

    card = sheet.card
    assert (card.low_feed_mm_per_min, card.high_feed_mm_per_min) == (1500.0, 3000.0)
    assert (card.low_power_ratio, card.high_power_ratio) == (300 / HEAD.max_s, 900 / HEAD.max_s)
    assert Sheet.from_json(sheet.to_json()) == sheet
