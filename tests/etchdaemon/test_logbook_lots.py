"""Painting lots in the logbook: a new one is in use, wet ones are refused, a run names its lot."""

import pytest

from etchdaemon.errors import CommandRefused
from etchwire.catalogue.examples import PRACTICE_SURFACE
from support.harnesses.logbooks import (
    END,
    STARTED_UTC,
    start_run,
)
from support.samples.sheets import part_of, sheet_of

JOB = "ab" * 32
DRY_UTC = "2026-11-25T19:59:00+00:00"  # 12 h and a minute before OPENED_UTC
WET_UTC = "2026-11-25T20:01:00+00:00"


def lot(name="lot 7", painted_at_utc=DRY_UTC, **changes):
    return {"name": name, "surface": PRACTICE_SURFACE, "painted_at_utc": painted_at_utc} | changes


def lots_by_name(logbook, **asked):
    return {one["name"]: one for one in logbook.ask("lots", **asked)["lots"]}


def surface_now(logbook):
    found = {one["name"]: one["surface"] for one in logbook.ask("surfaces")["surfaces"]}
    return found[PRACTICE_SURFACE]


def test_a_new_lot_is_the_one_in_use_and_its_box_and_can_are_the_surface_s(logbook):
    logbook.note("save_lot", lot=lot(box="9", can="3", coats=2), who="Ada")

    now = surface_now(logbook)

    assert (now["lot"], now["batch"], now["can"], now["coats"]) == ("lot 7", "9", "3", 2)
    assert now["coated_on"] == "2026-11-25"


def test_an_older_lot_that_is_corrected_does_not_come_back_into_use(logbook):
    logbook.note("save_lot", lot=lot(box="8"))
    logbook.note("save_lot", lot=lot("lot 8", box="9"))

    logbook.note("save_lot", lot=lot(box="7"))

    assert (surface_now(logbook)["lot"], surface_now(logbook)["batch"]) == ("lot 8", "9")
    assert lots_by_name(logbook)["lot 7"]["lot"]["box"] == "7"


def test_a_new_lot_asks_for_a_check_strip(logbook):
    """The recipe keeps the surface as it was: the lot differs, and that is what drift reads."""
    logbook.note("save_lot", lot=lot())

    history = logbook.ask("history", head="practice 20 W", surface=PRACTICE_SURFACE)

    assert history["recipe"]["found_on"]["lot"] == ""
    assert history["surface"]["surface"]["lot"] == "lot 7"


def test_hours_that_were_told_once_hold_for_every_lot_of_the_paint(logbook):
    for name, paint in (("matt", "satin"), ("gloss", "satin"), ("other", "chalk")):
        logbook.note("save_surface", surface={"name": name, "paint": paint})
    logbook.note("save_lot", lot=lot("a", surface="matt", dry_after_h=30.0))
    logbook.note("save_lot", lot=lot("b", surface="gloss"))
    logbook.note("save_lot", lot=lot("c", surface="other"))

    found = lots_by_name(logbook)

    told = {name: (one["dry_after_h"], one["is_overnight_assumed"]) for name, one in found.items()}
    assert told == {"a": (30.0, False), "b": (30.0, False), "c": (12.0, True)}


def test_paints_that_nobody_named_are_not_taken_for_one(logbook):
    for name in ("one", "other"):
        logbook.note("save_surface", surface={"name": name})
    logbook.note("save_lot", lot=lot("a", surface="one", dry_after_h=30.0))
    logbook.note("save_lot", lot=lot("b", surface="other"))

    assert lots_by_name(logbook, surface="other")["b"]["is_overnight_assumed"]


def test_a_job_is_not_put_on_a_tile_whose_paint_is_wet(logbook):
    logbook.note("save_lot", lot=lot(painted_at_utc=WET_UTC))

    with pytest.raises(CommandRefused, match="lot 7 is not dry before 2026-11-26T08:01 UTC"):
        logbook.note("assign_tile", lot="lot 7", gcode_sha256=JOB)


def test_a_run_is_of_the_lot_that_its_job_was_given_last(logbook):
    for name in ("lot 7", "lot 8"):
        logbook.note("save_lot", lot=lot(name))
        logbook.note("assign_tile", lot=name, gcode_sha256=JOB)
    first = start_run(logbook, gcode_sha256=JOB)
    logbook.end_run(first, **END | {"ended": "stopped"})
    logbook.note("assign_tile", lot="lot 7", gcode_sha256=JOB)
    second = start_run(logbook, gcode_sha256=JOB)

    assert logbook.ask("run", id=first)["lot"] == "lot 8"
    assert logbook.ask("run", id=second)["lot"] == "lot 7"
    found = lots_by_name(logbook)
    assert (found["lot 7"]["runs"], found["lot 8"]["runs"]) == (1, 1)


def test_the_rest_of_an_etch_is_on_the_same_tile(logbook):
    logbook.note("save_lot", lot=lot())
    logbook.note("assign_tile", lot="lot 7", gcode_sha256=JOB)
    first = start_run(logbook, gcode_sha256=JOB)
    logbook.end_run(first, **END | {"ended": "stopped"})

    rest = logbook.start_run(
        sheet_json=sheet_of(gcode_sha256="cd" * 32).to_json(),
        started_at_utc=STARTED_UTC,
        notes={},
        continues_run=first,
    )

    assert logbook.ask("run", id=rest)["lot"] == "lot 7"
    assert lots_by_name(logbook)["lot 7"]["runs"] == 1


def test_a_run_is_told_its_lot_afterwards_and_no_later_run_with_it(logbook):
    logbook.note("save_lot", lot=lot(painted_at_utc=WET_UTC))
    first = start_run(logbook, gcode_sha256=JOB)
    logbook.end_run(first, **END)

    logbook.note("assign_tile", lot="lot 7", run=first)

    assert logbook.ask("run", id=first)["lot"] == "lot 7"
    later = start_run(logbook, gcode_sha256=JOB)
    assert logbook.ask("run", id=later)["lot"] is None


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"lot": "lot 9", "gcode_sha256": JOB}, "no painting lot 'lot 9'"),
        ({"lot": "lot 7", "run": 99}, "There is no run 99"),
        ({"lot": "lot 7"}, "Say of which job, or of which run"),
    ],
)
def test_what_cannot_be_assigned_is_refused(logbook, said, words):
    logbook.note("save_lot", lot=lot())

    with pytest.raises(CommandRefused, match=words):
        logbook.note("assign_tile", **said)


def test_a_lot_of_an_unknown_surface_is_refused(logbook):
    with pytest.raises(CommandRefused, match="knows no surface 'slate'"):
        logbook.note("save_lot", lot=lot(surface="slate"))


PARTS = (part_of(1, 0), part_of(2, 10))
OF_TWO_LOTS = [{"pocket": 1, "lot": "lot 7"}, {"pocket": 2, "lot": "lot 8"}]


@pytest.fixture
def two_lots(logbook):
    for name in ("lot 7", "lot 8"):
        logbook.note("save_lot", lot=lot(name))
    return logbook


def etch_tiles(logbook):
    run = start_run(logbook, gcode_sha256=JOB, parts=PARTS)
    logbook.end_run(run, **END)
    return run


def lots_of_tiles(logbook, run):
    return {tile["pocket"]: tile["lot"] for tile in logbook.ask("run", id=run)["tiles"]}


def test_each_tile_of_one_run_names_its_own_lot_and_counts_for_it(two_lots):
    two_lots.note("assign_tile", gcode_sha256=JOB, tiles=OF_TWO_LOTS)

    run = etch_tiles(two_lots)

    assert lots_of_tiles(two_lots, run) == {1: "lot 7", 2: "lot 8"}
    assert two_lots.ask("run", id=run)["lot"] is None
    assert {name: one["runs"] for name, one in lots_by_name(two_lots).items()} == {
        "lot 7": 1, "lot 8": 1,
    }  # fmt: skip


def test_a_tile_of_which_nobody_said_more_is_of_the_job_s_lot(two_lots):
    tiles = [{"pocket": 2, "lot": "lot 8"}]
    two_lots.note("assign_tile", gcode_sha256=JOB, lot="lot 7", tiles=tiles)

    assert lots_of_tiles(two_lots, etch_tiles(two_lots)) == {1: "lot 7", 2: "lot 8"}


def test_the_rest_of_a_run_of_several_is_of_the_same_lots(two_lots):
    two_lots.note("assign_tile", gcode_sha256=JOB, tiles=OF_TWO_LOTS)
    first = etch_tiles(two_lots)

    rest = two_lots.start_run(
        sheet_json=sheet_of(gcode_sha256="cd" * 32, parts=PARTS).to_json(),
        started_at_utc=STARTED_UTC, notes={}, continues_run=first,
    )  # fmt: skip

    assert lots_of_tiles(two_lots, rest) == {1: "lot 7", 2: "lot 8"}


def test_tiles_are_told_their_lots_afterwards_and_no_later_run_with_them(two_lots):
    run = etch_tiles(two_lots)

    two_lots.note("assign_tile", run=run, tiles=OF_TWO_LOTS)

    assert lots_of_tiles(two_lots, run) == {1: "lot 7", 2: "lot 8"}
    assert lots_of_tiles(two_lots, etch_tiles(two_lots)) == {1: None, 2: None}


def test_one_wet_tile_among_dry_ones_is_refused_with_its_lot(two_lots):
    two_lots.note("save_lot", lot=lot("lot 9", painted_at_utc=WET_UTC))
    tiles = [*OF_TWO_LOTS, {"pocket": 3, "lot": "lot 9"}]

    with pytest.raises(CommandRefused, match="lot 9 is not dry before"):
        two_lots.note("assign_tile", gcode_sha256=JOB, tiles=tiles)


def test_tiles_of_one_mural_come_from_one_lot_side_by_side_and_one_after_the_other(two_lots):
    """A wall that nobody ordered: the page's name of it holds its tiles together."""
    side_by_side = [tile | {"mural": "wall"} for tile in OF_TWO_LOTS]
    with pytest.raises(CommandRefused, match="from one lot, not from lot 7 and lot 8"):
        two_lots.note("assign_tile", gcode_sha256=JOB, tiles=side_by_side)
    two_lots.note("assign_tile", gcode_sha256=JOB, lot="lot 7", mural="wall")
    two_lots.end_run(start_run(two_lots, gcode_sha256=JOB), **END)

    alone = {"lot": "lot 8", "mural": "wall"}
    for said in (alone, {"tiles": [OF_TWO_LOTS[0], {"pocket": 2, **alone}]}):
        with pytest.raises(CommandRefused, match="from one lot, not from lot 7 and lot 8"):
            two_lots.note("assign_tile", gcode_sha256=JOB, **said)

    for said in (alone | {"mural": "another wall"}, alone | {"lot": "lot 7"}, {"lot": "lot 8"}):
        two_lots.note("assign_tile", gcode_sha256=JOB, **said)


def test_a_mural_that_was_laid_into_a_jig_holds_its_later_tiles_to_its_lot(two_lots):
    laid = [{"pocket": 1, "lot": "lot 7", "mural": "wall"}, OF_TWO_LOTS[1]]
    two_lots.note("assign_tile", gcode_sha256=JOB, tiles=laid)
    etch_tiles(two_lots)

    two_lots.note("assign_tile", gcode_sha256=JOB, lot="lot 7", mural="wall")
    with pytest.raises(CommandRefused, match="from one lot, not from lot 7 and lot 8"):
        two_lots.note("assign_tile", gcode_sha256=JOB, lot="lot 8", mural="wall")
