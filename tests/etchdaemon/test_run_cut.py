"""Where the beam went out: values in, rows and millimetres out."""

import math
from dataclasses import replace

import pytest

from etchdaemon.run.cut import CONTACT_S, Cut, CutMark, Sighting, at_rest, found_between, weak_s
from etchdaemon.run.loop_stalls import LoopStalls
from etchdaemon.run.row_path import NEAR_MM, RowPath
from support.samples.sheets import sheet_of

# Three rows, 2 mm of run-up on both sides of 10 mm of dots, the second one run from right to left.
RUN_UP_MM, DOTS_MM, FEED = 2.0, 10.0, 6000.0
SPEED = FEED / 60
LINES = (b"G90G0X0Y0", b"G91G1X2S0F6000", b"X4S500", b"X1S0", b"X5S500", b"X2S0")
BEGIN, END = (-1, 0.0), (4, math.inf)


def _sheet():
    sheet = sheet_of(3)
    index = tuple(
        replace(entry, from_mm=entry.from_mm if row != 1 else 14.0, to_mm=0.0 if row == 1 else 14.0)
        for row, entry in enumerate(sheet.index)
    )
    return replace(sheet, index=index)


SHEET = _sheet()
Y = [entry.y_mm for entry in SHEET.index]


def path_of(**changes):
    return RowPath(SHEET, lambda _: LINES, start_mm=(0.0, 5.0), **changes)


def seen(at_s, x_mm, row, *, for_s=0.004):
    return Sighting(at_s - for_s, at_s + for_s, x_mm, Y[row])


def found(mark, rest, **changes):
    limits = {"first": BEGIN, "last": END, "beam_lag_s": 0.0} | changes
    return mark.found(path_of(), rest=rest, **limits)


def mark_at(at_s, *sightings, late_s=0.0, **more):
    return CutMark(from_s=at_s - late_s, to_s=at_s + CONTACT_S, seen=list(sightings), **more)


@pytest.mark.parametrize(
    ("opened_at_s", "lasted_s", "from_s"),
    [(None, 0.01, 9.99), (9.9, 0.01, 9.9), (9.9, 0.3, 9.7)],
    ids=["at the look", "when a contact opened", "in a long pause, by the heartbeat perhaps"],
)
def test_the_beam_may_have_gone_out_as_long_ago_as_nobody_looked(opened_at_s, lasted_s, from_s):
    stalls = LoopStalls(10.0 - lasted_s)
    stalls.look(10.0, opened_at_s=opened_at_s)

    mark = CutMark.at(10.0, [], stalls)

    assert mark.from_s == pytest.approx(from_s)
    assert mark.to_s == 10.0 + CONTACT_S


def test_the_row_is_that_of_the_sighting_after_the_cut_not_of_the_report_before_it():
    before, after = seen(9.8, 8.0, 0), seen(10.004, 9.0, 1)

    place = found(mark_at(10.0, before, after), seen(10.1, 5.0, 1))

    assert [cut.place for cut in place.cuts] == [1]
    assert place.cuts[0].x_mm == pytest.approx(9.0, abs=place.cuts[0].error_mm)


def test_the_error_is_what_the_sighting_and_the_contact_leave_open():
    """8 ms between request and report, 10 ms of the contact, 100 mm/s: 0.9 mm to each side."""
    place = found(mark_at(10.0, seen(10.004, 7.0, 0)), seen(10.2, 12.0, 0))

    (cut,) = place.cuts
    assert cut.error_mm == pytest.approx(0.9 + NEAR_MM, abs=2 * NEAR_MM)
    assert cut.x_mm - cut.error_mm <= 7.0 - 0.4 <= 7.0 + 0.6 <= cut.x_mm + cut.error_mm


def test_the_cut_never_lies_beyond_the_rest():
    place = found(mark_at(10.0, seen(9.8, 5.0, 0)), seen(10.3, 6.0, 0))

    (cut,) = place.cuts
    assert cut.x_mm + cut.error_mm <= 6.0 + 3 * NEAR_MM
    assert cut.x_mm - cut.error_mm <= 5.0


def test_a_contact_that_opened_earlier_reaches_back():
    after = seen(10.064, 9.0, 0)

    (late,) = found(mark_at(10.06, after, late_s=0.04), seen(10.3, 12.0, 0)).cuts
    (prompt,) = found(mark_at(10.06, after), seen(10.3, 12.0, 0)).cuts

    assert late.error_mm == pytest.approx(prompt.error_mm + 0.04 * SPEED / 2, abs=0.01)


def test_the_lights_lag_behind_the_head_is_burnt_again():
    (cut,) = found(mark_at(10.0, seen(10.004, 7.0, 0)), seen(10.2, 12.0, 0), beam_lag_s=0.01).cuts
    (sharp,) = found(mark_at(10.0, seen(10.004, 7.0, 0)), seen(10.2, 12.0, 0)).cuts

    assert cut.x_mm - cut.error_mm == pytest.approx(sharp.x_mm - sharp.error_mm - 0.01 * SPEED)


def test_between_two_rows_the_row_above_is_done_and_the_next_is_whole():
    place = found(mark_at(10.0, seen(10.004, 13.5, 0)), seen(10.1, 12.9, 1))

    assert (place.first_place, place.cuts) == (1, ())


def test_after_the_last_dot_nothing_is_left():
    place = found(mark_at(10.0, seen(10.004, 13.5, 2)), Sighting(0, 0, 0.0, 0.0))

    assert (place.first_place, place.cuts) == (3, ())


def test_while_it_parks_the_last_row_may_be_done_or_not_where_both_ways_are_as_near():
    home = (5, math.inf)

    parking = found(mark_at(10.0, seen(10.004, 9.9, 2)), seen(10.1, 9.8, 2), last=home)
    etching = found(mark_at(10.0, seen(10.004, 9.9, 2)), seen(10.1, 10.8, 2))

    assert parking.cuts[0].x_mm + parking.cuts[0].error_mm == pytest.approx(12.0 + NEAR_MM)
    assert etching.cuts[0].x_mm + etching.cuts[0].error_mm < 11.0


def test_before_the_first_dot_everything_is_left():
    place = found(mark_at(10.0, seen(10.004, 0.5, 0)), seen(10.1, 1.0, 0))

    assert (place.first_place, place.cuts) == (0, ())


def test_where_the_error_spans_a_turn_both_rows_are_named():
    before = seen(9.95, 11.0, 0)

    place = found(mark_at(10.0, before, late_s=0.04), seen(10.3, 11.0, 1))

    assert [cut.place for cut in place.cuts] == [0, 1]
    upper, lower = place.cuts
    assert upper.x_mm - upper.error_mm <= 11.0
    assert upper.x_mm + upper.error_mm == pytest.approx(12.0 + NEAR_MM)  # its last dot
    assert lower.x_mm + lower.error_mm == pytest.approx(12.0 + NEAR_MM)  # its first
    assert place.is_known


def test_more_than_two_rows_are_told_by_eye():
    place = found(mark_at(10.0, seen(9.0, 11.0, 0), late_s=0.9), seen(10.3, 11.0, 2))

    assert len(place.cuts) == 3
    assert not place.is_known


def test_a_cut_is_not_known_when_only_the_guard_was_blind_however_well_the_head_was_seen():
    mark = mark_at(10.0, seen(10.004, 7.0, 0), was_unwatched=True)

    assert found(mark, seen(10.1, 8.0, 0)) is None


def test_a_higher_override_widens_what_a_time_leaves_open():
    mark, rest = mark_at(10.0, seen(10.004, 7.0, 0)), seen(10.2, 12.0, 0)
    limits = {"first": BEGIN, "last": END, "beam_lag_s": 0.0}

    (fast,) = mark.found(path_of(fastest_percent=150), rest=rest, **limits).cuts
    (plain,) = mark.found(path_of(), rest=rest, **limits).cuts

    assert fast.error_mm > 1.4 * plain.error_mm


def test_a_beam_that_was_on_until_rest_is_weak_at_the_end_of_its_braking():
    """Braking from 100 mm/s in 0.1 s takes 5 mm; a ninth of it, and 5 ms of the speed, are open."""
    rest = seen(10.0, 8.0, 0)

    (cut,) = at_rest(path_of(), first=BEGIN, last=END, rest=rest, weak_s=weak_s(0.1)).cuts

    assert cut.x_mm + cut.error_mm == pytest.approx(8.0, abs=3 * NEAR_MM)
    assert 2 * cut.error_mm == pytest.approx(5.0 / 9 + 0.5, abs=5 * NEAR_MM)


def test_a_row_that_cannot_be_read_counts_as_burnt_from_end_to_end():
    unread = RowPath(SHEET, lambda _: (), start_mm=(0.0, 0.0))

    place = found_between(unread, (0, 13.0), (0, 13.5))

    assert [cut.place for cut in place.cuts] == [0]


@pytest.mark.parametrize("x_mm", [3.0, 5.5, 9.9])
@pytest.mark.parametrize("row", range(3))
def test_every_place_of_a_row_is_found_again_where_it_is(row, x_mm):
    first, last = path_of().near(x_mm, Y[row], BEGIN, END)

    assert (first[0], last[0]) == (2 * row, 2 * row)
    assert path_of().x_mm(first) == pytest.approx(x_mm, abs=2 * NEAR_MM)
    assert last[1] - first[1] == pytest.approx(2 * NEAR_MM)


@pytest.mark.parametrize("seconds", [0.0, 0.01, 0.2, 0.35])
def test_what_is_ahead_of_a_spot_is_as_far_behind_again(seconds):
    path = path_of()

    there = path.ahead((0, 3.0), seconds)

    assert path.back(there, seconds) == pytest.approx((0, 3.0))


def test_nothing_lies_before_the_start_or_behind_the_end():
    path = path_of()

    assert path.back((0, 3.0), 60.0) == BEGIN
    assert path.ahead((0, 3.0), 60.0) == path.end
    assert path.near(50.0, 50.0, BEGIN, END) is None


def test_a_cut_says_its_row():
    assert found_between(path_of(), (2, 5.0), (2, 6.0)).cuts == (
        Cut(place=1, x_mm=pytest.approx(8.5), error_mm=pytest.approx(0.5 + NEAR_MM)),
    )
