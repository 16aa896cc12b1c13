"""Whether an etch may be taken up again, and what is known of its end: values in, words out."""

from dataclasses import replace

import pytest

from etchdaemon.run.cut import Cut, CutFound
from etchdaemon.run.reentry_rules import (
    NOTHING_MOVED,
    WHICH_ROW,
    CutPlace,
    Past,
    Trace,
    cut_event,
    known_sentences,
    objection,
    rest_from,
    trace_of,
    unknown_sentences,
)
from etchpractice.tile.surface import surfaces
from etchwire.calls.history import RunEvent
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from support.samples.sheets import sheet_of

SHEET = sheet_of(20)  # row 0 at the top, rows 0.1 mm apart, 0.4 s each; the picture from 5 mm on
STOPPED = Past(run=7, ended="stopped")


def event(kind, details):
    return RunEvent(id=1, at_s=1.0, at_utc="", kind=kind, text="", details=details)


CUT = event("cut", {"row": 8, "x_mm": 9.2, "error_mm": 0.12, "y_mm": 1.1})
OTHER = {"row": 9, "x_mm": 14.6, "error_mm": 0.4}
EITHER = event("cut", CUT.details | {"or": [OTHER]})
WHOLE = event("cut", CUT.details | {"is_whole": True, "error_mm": 0.0})
HELD = event("held", {})
RESUMED = event("resumed", {})
UNBEGUN = event("unbegun", {})


@pytest.mark.parametrize("ended", ["stopped", "failed"])
def test_whatever_was_cut_short_may_be_taken_up(ended):
    assert objection(replace(STOPPED, ended=ended)) is None


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"ended": None}, "Etch 7 has not ended."),
        ({"ended": "complete"}, "Etch 7 is complete: nothing of it is left to etch."),
        ({"is_all_etched": True}, "Every row of etch 7 was etched: nothing of it is left."),
        ({"continued_by": 9}, "Etch 9 has gone on with etch 7: look there."),
        ({"shifts_origin": True}, "shifts its own origin"),
        ({"has_lost_place": True}, "another program"),
        ({"is_kept": False}, "no longer kept here"),
        ({"is_under_way": True}, "A picture is being etched"),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else None,
)
def test_each_thing_that_speaks_against_it_is_said(changes, sentence):
    assert sentence in objection(replace(STOPPED, **changes))


def test_what_can_never_be_is_said_before_what_only_waits():
    past = replace(STOPPED, ended="complete", is_under_way=True, is_kept=False)

    assert "complete" in objection(past)


@pytest.mark.parametrize(
    ("events", "trace"),
    [
        ([], Trace(cut=None, first_row=8)),
        ([CUT], Trace(cut=CutPlace(8, 9.2, 0.12), first_row=8)),
        ([HELD], Trace(cut=None, first_row=8, is_at_rest=True)),
        ([UNBEGUN], Trace(cut=None, first_row=8, is_unbegun=True)),
        ([CUT, HELD], Trace(cut=CutPlace(8, 9.2, 0.12), first_row=8, is_at_rest=True)),
        ([CUT, HELD, RESUMED], Trace(cut=None, first_row=8)),
        ([HELD, RESUMED, CUT], Trace(cut=CutPlace(8, 9.2, 0.12), first_row=8)),
    ],
    ids=[
        "nothing",
        "cut",
        "held",
        "unbegun",
        "held in the row",
        "gone on after that",
        "cut after that",
    ],
)
def test_the_last_hold_or_cut_counts_unless_the_run_went_on_after_it(events, trace):
    assert trace_of(events, etched_rows=8, sheet=SHEET) == trace
    assert trace.is_row_known == (trace != Trace(cut=None, first_row=8))


def test_a_rest_that_ended_before_its_first_row_begins_where_that_lies():
    rest = replace(SHEET, index=SHEET.index[12:])

    assert trace_of([], etched_rows=0, sheet=rest).first_row == 12


def told(trace, *, is_place_kept):
    return (
        " ".join(known_sentences(trace, SHEET, is_place_kept=is_place_kept)),
        " ".join(unknown_sentences(trace, SHEET, is_place_kept=is_place_kept)),
    )


def test_of_a_logged_cut_its_place_and_error_are_known():
    is_known, is_not = told(trace_of([CUT], etched_rows=8, sheet=SHEET), is_place_kept=True)

    assert "row 9, 4.2 mm from the picture's left edge, give or take 0.12 mm" in is_known
    assert NOTHING_MOVED in is_known
    assert "Look at the tile" not in is_not
    assert "faint band" in is_not


def test_of_a_cut_about_a_turn_both_rows_are_told_and_a_person_chooses():
    trace = trace_of([EITHER], etched_rows=8, sheet=SHEET)

    is_known, is_not = told(trace, is_place_kept=True)

    assert (trace.cut, trace.first_row, trace.is_row_known) == (None, 8, False)
    assert "in row 9, 4.2 mm" in is_known
    assert "or in row 10, 9.6 mm" in is_known
    assert WHICH_ROW in is_not
    assert [trace.cut_in(row) for row in (None, 8, 9, 10)] == [None, *trace.either, None]


def test_of_a_cut_between_two_rows_the_upper_is_done_and_the_lower_is_whole():
    trace = trace_of([WHOLE], etched_rows=8, sheet=SHEET)

    is_known, _ = told(trace, is_place_kept=True)

    assert trace.is_row_known
    assert "It goes on with row 9, which was not begun; all above it is done." in is_known


@pytest.mark.parametrize(
    "found",
    [
        CutFound(first_place=8),
        CutFound(first_place=8, cuts=(Cut(place=8, x_mm=9.2, error_mm=0.12),)),
    ],
    ids=["between rows", "in a row"],
)
def test_what_is_written_of_a_cut_is_read_back(found):
    _, details = cut_event(found, SHEET)

    trace = trace_of([event("cut", details)], etched_rows=0, sheet=SHEET)

    assert trace.is_row_known
    assert trace.cut.row == 8


def test_without_a_logged_cut_only_the_last_row_written_down_is_known():
    is_known, is_not = told(trace_of([], etched_rows=8, sheet=SHEET), is_place_kept=False)

    assert is_known == "Row 8 is the last that was written down as done."
    assert "Look at the tile" in is_not
    assert "0.05 mm at best" in is_not  # half of the 0.1 mm between rows


def test_a_run_that_was_held_when_it_ended_needs_no_eye():
    is_known, is_not = told(trace_of([HELD], etched_rows=8, sheet=SHEET), is_place_kept=False)

    assert "held at the end of row 8" in is_known
    assert "Look at the tile" not in is_not


@pytest.mark.parametrize("is_place_kept", [True, False])
@pytest.mark.parametrize("events", [[], [CUT], [HELD]], ids=["nothing", "cut", "held"])
def test_nobody_is_promised_a_seam_that_cannot_be_seen(events, is_place_kept):
    _, is_not = told(trace_of(events, etched_rows=0, sheet=SHEET), is_place_kept=is_place_kept)

    assert "faint band" in is_not
    assert "Nobody can promise" in is_not


def test_what_is_left_counts_from_the_first_row_with_dots_at_or_below_the_one_told():
    bare = replace(SHEET, index=SHEET.index[:8] + SHEET.index[10:])

    rest = rest_from(8, bare)

    assert (rest.first_row, rest.rows, rest.width_mm) == (10, 10, 10.0)
    assert rest.height_mm == pytest.approx(1.0)
    assert rest.predicted_s == pytest.approx(4.0)


def test_below_the_last_dot_nothing_is_left():
    assert rest_from(20, SHEET) is None


@pytest.mark.parametrize("surface", surfaces().values(), ids=lambda surface: surface.name)
def test_on_every_practice_tile_a_row_burnt_twice_is_nearer_to_the_promise_than_a_gap(surface):
    """Why a person in doubt is told to take the upper row. The surfaces are invented."""
    head, recipe = PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"]
    once = float(surface.effective_w(recipe.power_w(head)) / recipe.power_w(head))
    dose = recipe.dose_j_per_mm2(head) * once
    promised, twice, gap = (float(surface.wiped(dose * times)) for times in (1, 2, 0))

    assert abs(twice - promised) < abs(gap - promised)
