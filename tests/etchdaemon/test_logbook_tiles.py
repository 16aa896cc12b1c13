"""The tiles of a run of several in the logbook: each has its rows, its end and its verdict."""

import pytest

from etchdaemon.errors import CommandRefused
from support.harnesses.logbooks import END, EVENT, row_of, start_run
from support.samples.sheets import part_of, sheet_of

PARTS = (part_of(7, 0), part_of(3, 10, 5, item=99), part_of(2, 15, 5))


def rows(logbook, run, first, end):
    logbook.note_rows(
        run, [row_of(row, 4000.0 if row < 10 else 2000.0) for row in range(first, end)]
    )


def tiles_of(logbook, run):
    return {tile["pocket"]: tile for tile in logbook.ask("run", id=run)["tiles"]}


def words(logbook, run):
    return {
        pocket: (tile["ended"], tile["etched_rows"])
        for pocket, tile in tiles_of(logbook, run).items()
    }


def test_each_tile_has_its_rows_its_end_and_what_was_really_run(logbook):
    run = start_run(logbook, parts=PARTS)
    rows(logbook, run, 0, 12)
    logbook.confirm_event(run, **EVENT)  # rows reach the disk with it
    assert words(logbook, run) == {7: ("complete", 10), 3: (None, 2), 2: (None, 0)}

    logbook.end_run(run, **END | {"ended": "stopped", "etched_rows": 12})

    assert words(logbook, run) == {7: ("complete", 10), 3: ("stopped", 2), 2: ("not begun", 0)}
    seven, three = tiles_of(logbook, run)[7], tiles_of(logbook, run)[3]
    assert (seven["title"], seven["feed_run_mm_per_min"], seven["power_run_ratio"]) == (
        "tile 7", 4000.0, 0.6,
    )  # fmt: skip
    # A row ends 0.4 s after the one before it, the first at nought.
    assert seven["elapsed_s"] == pytest.approx(3.6)
    assert (three["feed_run_mm_per_min"], three["elapsed_s"]) == (2000.0, pytest.approx(0.8))
    assert three["item_id"] is None  # of no order that this logbook knows


def test_a_run_that_goes_on_with_another_has_the_tiles_that_were_left(logbook):
    first = start_run(logbook, parts=PARTS)
    logbook.end_run(first, **END | {"ended": "failed", "etched_rows": 12})
    whole = sheet_of(parts=PARTS)

    rest = logbook.start_run(
        sheet_json=sheet_of(parts=PARTS, index=whole.index[12:]).to_json(),
        started_at_utc="2026-11-25T18:00:00+00:00",
        notes={},
        continues_run=first,
    )
    rows(logbook, rest, 12, 20)
    logbook.end_run(rest, **END)

    assert words(logbook, first) == {7: ("complete", 10), 3: ("failed", 2), 2: ("not begun", 0)}
    assert words(logbook, rest) == {3: ("complete", 5), 2: ("complete", 5)}


def test_a_verdict_is_of_one_tile_and_the_whole_run_has_its_own(logbook):
    run = start_run(logbook, parts=PARTS)
    logbook.end_run(run, **END)

    logbook.note("save_verdict", run=run, verdict="pale", pocket=3, photo="a.jpg")
    logbook.note("save_verdict", run=run, verdict="good", pocket=7)

    verdicts = {pocket: tile["verdict"] for pocket, tile in tiles_of(logbook, run).items()}
    assert verdicts == {7: "good", 3: "pale", 2: None}
    said = logbook.ask("run", id=run)["verdicts"]
    assert [(one["pocket"], one["verdict"], one["photo"]) for one in said] == [
        (3, "pale", "a.jpg"),
        (7, "good", ""),
    ]
    assert logbook.ask("runs")["runs"][0]["verdict"] is None
    with pytest.raises(CommandRefused, match="has no tile in pocket 4"):
        logbook.note("save_verdict", run=run, verdict="good", pocket=4)


def test_a_run_of_one_tile_has_no_tiles(logbook):
    run = start_run(logbook)
    logbook.end_run(run, **END)

    assert tiles_of(logbook, run) == {}


ITEM = {"title": "Ida", "width_mm": 90.0, "height_mm": 90.0, "surface": "tile", "count": 2}


def item_of(logbook):
    (item,) = logbook.ask("order", id=1)["items"]
    return item


def test_tiles_of_an_order_s_item_count_each_by_its_own_end_and_verdict(logbook):
    """Two of three were wanted: one is good, the other spoilt by a cut, so one is to be made."""
    logbook.note("save_order", order={"customer": "Ada", "items": [ITEM]})
    run = start_run(logbook, parts=(part_of(7, 0, item=1), part_of(3, 10, item=1)))
    assert item_of(logbook)["to_make"] == 0  # both are on the bench

    logbook.end_run(run, **END | {"ended": "stopped", "etched_rows": 12})
    assert [tile["ended"] for tile in item_of(logbook)["tiles"]] == ["complete", "stopped"]
    assert [tile["elapsed_s"] for tile in item_of(logbook)["tiles"]] == [4.0, 4.0]
    logbook.note("save_verdict", run=run, verdict="good", pocket=7, photo="a.jpg")
    assert item_of(logbook)["to_make"] == 1

    rest = logbook.start_run(
        sheet_json=sheet_of(
            parts=(part_of(7, 0, item=1), part_of(3, 10, item=1)), index=sheet_of().index[12:]
        ).to_json(),
        started_at_utc="2026-11-25T18:00:00+00:00",
        notes={},
        continues_run=run,
    )
    assert item_of(logbook)["to_make"] == 0
    logbook.end_run(rest, **END)
    logbook.note("save_verdict", run=rest, verdict="good", pocket=3)
    assert item_of(logbook)["state"] == "done"

    logbook.note("forget_order", id=1)
    assert {tile["title"] for tile in logbook.ask("run", id=rest)["tiles"]} == {"deleted"}
    assert logbook.ask("run", id=run)["verdicts"][0]["photo"] == ""


def found(logbook, **sought):
    return [one["id"] for one in logbook.ask("runs", **sought)["runs"]]


def test_the_list_says_what_was_said_last_of_each_tile_and_a_search_finds_it(logbook):
    alone = start_run(logbook)
    logbook.end_run(alone, **END)
    logbook.note("save_verdict", run=alone, verdict="good")
    run = start_run(logbook, parts=PARTS)
    logbook.end_run(run, **END | {"etched_rows": 20})
    for pocket, verdict in ((7, "pale"), (7, "good"), (3, "banded")):
        logbook.note("save_verdict", run=run, pocket=pocket, verdict=verdict)

    listed = logbook.ask("runs")["runs"][0]

    assert (listed["verdict"], listed["tile_verdicts"]) == (None, {"7": "good", "3": "banded"})
    assert found(logbook, verdict="good") == [run, alone]
    assert found(logbook, verdict="banded") == [run]
    assert found(logbook, verdict="pale") == []  # it was said otherwise since
    assert found(logbook, text="tile 3") == [run]


def test_a_run_of_several_waits_for_verdicts_until_each_tile_that_was_begun_has_one(logbook):
    run = start_run(logbook, parts=PARTS)
    logbook.end_run(run, **END | {"ended": "stopped", "etched_rows": 12})
    seen = [found(logbook, verdict="unrated")]
    for pocket in (7, 3):  # nothing was etched in pocket 2
        logbook.note("save_verdict", run=run, pocket=pocket, verdict="good")
        seen.append(found(logbook, verdict="unrated"))

    assert seen == [[run], [run], []]
