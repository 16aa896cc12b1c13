"""Orders in the logbook: their states follow from proofs, runs and verdicts; a yes is locked."""

import json

import pytest

from etchdaemon.errors import CommandRefused
from etchwire.catalogue.examples import PRACTICE_SURFACE
from etchwire.packing import pack
from support.harnesses.logbooks import END, LONG_S, STARTED_UTC, Disk, logbook_on, start_run
from support.samples.sheets import part_of, sheet_of

JOB = "ab" * 32
DESIGN = "cd" * 32
DRY_UTC = "2026-11-20T08:00:00+00:00"
ITEM = {
    "title": "a dog", "width_mm": 90.0, "height_mm": 90.0, "surface": PRACTICE_SURFACE, "count": 2,
    "text": "Rex, 1999",
}  # fmt: skip
ORDER = {"customer": "Ada", "due_on": "2026-12-01", "items": [ITEM]}


def take(logbook, **changes):
    return logbook.note("save_order", order=ORDER | changes, who="Ben")["id"]


def order(logbook, number=1):
    return logbook.ask("order", id=number)


def item(logbook, number=1):
    return order(logbook, number)["items"][0]


def accept(logbook, one=1):
    logbook.note("note_proof", item=one, answer="shown", design_sha256=DESIGN, draft="d")
    shown = item(logbook)["fingerprint"]
    logbook.note("note_proof", item=one, answer="yes", shown_sha256=shown, way="by message")


def put_on_bench(logbook, one=1, **more):
    logbook.note("assign_tile", item=one, gcode_sha256=JOB, design_sha256=DESIGN, **more)
    logbook.note_loaded(JOB)


def etch(logbook, ended="complete", **more):
    run = logbook.start_run(
        sheet_json=sheet_of(gcode_sha256=JOB).to_json(),
        started_at_utc=STARTED_UTC,
        notes={},
        **more,
    )
    logbook.end_run(run, **END | {"ended": ended})
    return run


def judge(logbook, run, verdict="good"):
    logbook.note("save_verdict", run=run, verdict=verdict)


def changed(logbook, version, **changes):
    kept = item(logbook)["item"]
    return logbook.note(
        "save_order", order=ORDER | {"items": [kept | changes]}, id=1, version=version, who="Cy"
    )


def test_an_order_goes_from_to_prepare_to_done_by_what_happens(logbook):
    take(logbook)
    seen = [order(logbook)["state"]]
    logbook.note("note_proof", item=1, answer="shown", design_sha256=DESIGN)
    seen.append(order(logbook)["state"])
    accept(logbook)
    seen.append(order(logbook)["state"])
    for _ in range(2):
        put_on_bench(logbook)
        seen.append(order(logbook)["state"])
        run = etch(logbook)
        seen.append(order(logbook)["state"])
        judge(logbook, run)
        seen.append(order(logbook)["state"])

    assert seen == [
        "to prepare", "proof out", "ready", "on the bench", "to judge", "ready", "on the bench",
        "to judge", "done",
    ]  # fmt: skip


def test_a_bad_verdict_puts_one_more_tile_on_the_list_by_itself(logbook):
    take(logbook)
    accept(logbook)
    put_on_bench(logbook)
    run = etch(logbook)
    before = item(logbook)["to_make"]

    judge(logbook, run, "banded")

    assert (before, item(logbook)["to_make"], item(logbook)["state"]) == (1, 2, "ready")


def test_a_later_verdict_counts_instead_of_an_earlier_one(logbook):
    take(logbook)
    accept(logbook)
    put_on_bench(logbook)
    run = etch(logbook)
    judge(logbook, run, "pale")
    judge(logbook, run, "good")

    assert item(logbook)["to_make"] == 1


def test_a_tile_that_was_cut_short_and_continued_is_one_tile_with_both_runs_times(logbook):
    take(logbook)
    accept(logbook)
    put_on_bench(logbook)
    first = etch(logbook, ended="stopped")
    between = item(logbook)["state"]
    rest = etch(logbook, continues_run=first)
    judge(logbook, rest)

    (tile,) = item(logbook)["tiles"]

    assert between == "on the bench"
    assert (tile["run_id"], tile["verdict"], tile["elapsed_s"]) == (rest, "good", 16.0)
    assert item(logbook)["to_make"] == 1


def test_a_stopped_tile_leaves_the_bench_when_the_next_is_laid_there(logbook):
    take(logbook)
    accept(logbook)
    put_on_bench(logbook)
    etch(logbook, ended="stopped")
    put_on_bench(logbook)

    assert (item(logbook)["state"], item(logbook)["to_make"]) == ("on the bench", 1)


@pytest.mark.parametrize("later", [None, "ef" * 32], ids=["unloaded", "another job"])
def test_a_job_that_is_unloaded_before_it_was_etched_takes_its_item_off_the_bench(logbook, later):
    take(logbook)
    accept(logbook)
    put_on_bench(logbook)
    before = item(logbook)["state"]

    logbook.note_loaded(later)

    after = item(logbook)
    assert (before, after["state"], after["to_make"]) == ("on the bench", "ready", 2)


def test_a_tile_is_on_the_bench_only_once_its_job_is_loaded(logbook):
    take(logbook)
    accept(logbook)
    logbook.note("assign_tile", item=1, gcode_sha256=JOB, design_sha256=DESIGN)

    assert item(logbook)["state"] == "ready"


def test_after_a_restart_nothing_lies_on_the_bench(tmp_path):
    disk = Disk(tmp_path / "logbook.sqlite3")
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        logbook.introduce_practice()
        take(logbook)
        accept(logbook)
        put_on_bench(logbook)

    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        assert item(logbook)["state"] == "ready"


@pytest.mark.parametrize(
    "changes", [{"text": "Rex, 1998"}, {"width_mm": 91.0}, {"height_mm": 91.0}], ids=str
)
def test_a_change_of_what_was_shown_withdraws_the_yes_even_when_it_is_taken_back(logbook, changes):
    take(logbook)
    accept(logbook)
    was = item(logbook)["item"]

    changed(logbook, order(logbook)["version"], **changes)
    between = item(logbook)["state"]
    changed(logbook, order(logbook)["version"], **{name: was[name] for name in changes})

    assert (between, item(logbook)["state"]) == ("to prepare", "to prepare")
    answers = [one["answer"] for one in item(logbook)["proofs"]]
    assert answers == ["changed", "changed", "yes", "shown"]
    with pytest.raises(CommandRefused, match="has not said yes"):
        put_on_bench(logbook)


def test_a_change_of_crop_or_look_withdraws_the_yes(logbook):
    take(logbook)
    accept(logbook)

    logbook.note("note_proof", item=1, answer="changed", design_sha256="ef" * 32)

    assert item(logbook)["state"] == "to prepare"


def test_a_change_of_what_is_not_shown_keeps_the_yes(logbook):
    take(logbook)
    accept(logbook)

    changed(logbook, order(logbook)["version"], count=5, price=12.0)

    assert (item(logbook)["state"], item(logbook)["to_make"]) == ("ready", 5)


def test_a_yes_to_something_else_is_refused(logbook):
    take(logbook)
    logbook.note("note_proof", item=1, answer="shown", design_sha256=DESIGN)
    shown = item(logbook)["fingerprint"]
    changed(logbook, order(logbook)["version"], text="Max, 1999")

    with pytest.raises(CommandRefused):
        logbook.note("note_proof", item=1, answer="yes", shown_sha256=shown, way="by phone")
    assert "yes" not in [one["answer"] for one in item(logbook)["proofs"]]


def test_a_yes_to_what_was_never_shown_is_refused(logbook):
    take(logbook)
    never_shown = item(logbook)["fingerprint"]

    with pytest.raises(CommandRefused):
        logbook.note("note_proof", item=1, answer="yes", shown_sha256=never_shown)
    assert item(logbook)["proofs"] == []


def test_a_proof_that_was_changed_while_somebody_had_it_open_is_not_noted_as_shown(logbook):
    take(logbook)
    seen = item(logbook)["fingerprint"]
    logbook.note("note_proof", item=1, answer="changed", design_sha256="ef" * 32)

    with pytest.raises(CommandRefused):
        logbook.note("note_proof", item=1, answer="shown", shown_sha256=seen)
    assert item(logbook)["proofs"] == []


def test_a_customer_may_say_no_and_then_yes_to_the_same_proof(logbook):
    take(logbook)
    logbook.note("note_proof", item=1, answer="shown", design_sha256=DESIGN)
    shown = item(logbook)["fingerprint"]
    logbook.note("note_proof", item=1, answer="no")
    logbook.note("note_proof", item=1, answer="yes", shown_sha256=shown)

    assert item(logbook)["state"] == "ready"


def test_another_draft_of_an_item_keeps_the_picture_that_was_shown(logbook):
    take(logbook)
    logbook.note("note_proof", item=1, answer="shown", design_sha256=DESIGN, draft="one")
    logbook.note("note_proof", item=1, answer="changed", draft="another")

    kept = item(logbook)["item"]
    assert (kept["design_sha256"], kept["draft"]) == (DESIGN, "another")


def test_one_item_given_twice_is_refused(logbook):
    take(logbook)
    twice = [ITEM | {"id": 1}, ITEM | {"id": 1, "count": 9}]

    with pytest.raises(CommandRefused, match="stands twice"):
        logbook.note("save_order", order=ORDER | {"items": twice}, id=1, version=1)


def test_a_yes_is_kept_with_what_was_shown_when_and_how_it_came(logbook):
    take(logbook)
    accept(logbook)

    yes, _ = item(logbook)["proofs"]

    assert (yes["answer"], yes["way"], yes["is_current"]) == ("yes", "by message", True)
    assert yes["shown_sha256"] == item(logbook)["fingerprint"]
    assert yes["at_utc"].startswith("2026-11-26T08:00")


def test_a_no_sends_the_item_back_to_be_prepared(logbook):
    take(logbook)
    accept(logbook)
    logbook.note("note_proof", item=1, answer="no", way="by message")

    assert item(logbook)["state"] == "to prepare"


def test_another_design_than_the_customer_saw_is_not_etched_for_the_order(logbook):
    take(logbook)
    accept(logbook)

    with pytest.raises(CommandRefused, match="has not said yes to this"):
        logbook.note("assign_tile", item=1, gcode_sha256=JOB, design_sha256="ef" * 32)


def test_two_phones_that_change_one_order_are_told_of_each_other(logbook):
    take(logbook)
    logbook.note("save_order", order=ORDER | {"note": "mine"}, id=1, version=1, who="Cy")

    with pytest.raises(CommandRefused, match="Cy changed order 1 at 08:00 UTC, while you had it"):
        logbook.note("save_order", order=ORDER | {"note": "yours"}, id=1, version=1)

    assert (order(logbook)["note"], order(logbook)["version"]) == ("mine", 2)


def test_a_matching_set_takes_tiles_of_one_lot(logbook):
    take(logbook, items=[ITEM | {"is_set": True}])
    for name in ("lot 7", "lot 8"):
        lot = {"name": name, "surface": PRACTICE_SURFACE, "painted_at_utc": DRY_UTC}
        logbook.note("save_lot", lot=lot)
    accept(logbook)
    put_on_bench(logbook, lot="lot 7")
    judge(logbook, etch(logbook))

    with pytest.raises(CommandRefused, match="from one lot, not from lot 7 and lot 8"):
        put_on_bench(logbook, lot="lot 8")


def test_a_matching_set_takes_tiles_of_one_lot_in_a_jig_too(logbook):
    """Tiles of a jig belong to a run of their own lot, whichever order each is for."""
    take(logbook, items=[ITEM | {"is_set": True}])
    for name in ("lot 7", "lot 8"):
        lot = {"name": name, "surface": PRACTICE_SURFACE, "painted_at_utc": DRY_UTC}
        logbook.note("save_lot", lot=lot)
    with pytest.raises(CommandRefused, match="has not said yes to this"):
        logbook.note("assign_tile", items=[1], gcode_sha256=JOB, lot="lot 7")
    accept(logbook)
    logbook.note("assign_tile", items=[1], gcode_sha256=JOB, lot="lot 7")
    logbook.note_loaded(JOB)
    parts = (part_of(1, 0, item=1), part_of(2, 10))
    run = logbook.start_run(
        sheet_json=sheet_of(gcode_sha256=JOB, parts=parts).to_json(),
        started_at_utc=STARTED_UTC, notes={},
    )  # fmt: skip
    logbook.end_run(run, **END)

    for said in ({"item": 1}, {"items": [1]}):
        with pytest.raises(CommandRefused, match="from one lot, not from lot 7 and lot 8"):
            logbook.note("assign_tile", gcode_sha256=JOB, lot="lot 8", **said)
    logbook.note("assign_tile", items=[1], gcode_sha256=JOB, lot="lot 7")


def test_a_picture_over_several_tiles_makes_its_item_a_matching_set(logbook):
    take(logbook)
    changed = {"item": 1, "answer": "changed", "draft": "d"}

    logbook.note("note_proof", **changed, design_sha256=DESIGN, is_set=True)
    assert item(logbook)["item"]["is_set"]

    logbook.note("note_proof", **changed, design_sha256="ef" * 32)
    assert item(logbook)["item"]["is_set"]  # a person said so, or may have: they take it back


def test_a_list_that_is_sent_again_is_known_by_its_pictures(logbook):
    """As a page sends it that died before it heard of the numbers."""
    sent = [
        ORDER | {"customer": name, "items": [ITEM | {"draft": f"{name} {n}"} for n in range(2)]}
        for name in ("Ada", "Ben", "Cy")
    ]
    take(logbook)

    numbers = [
        logbook.note("add_orders", orders_packed=pack(json.dumps(sent)))["id"] for _ in range(2)
    ]

    assert numbers == [4, 4]
    assert logbook.ask("orders")["total"] == 4
    logbook.note("save_order", order=ORDER | {"items": []}, id=4, version=1)  # its first are left
    assert logbook.note("add_orders", orders_packed=pack(json.dumps(sent)))["id"] == 4
    other = [one | {"items": [ITEM | {"draft": "another"}]} for one in sent]
    assert logbook.note("add_orders", orders_packed=pack(json.dumps(other)))["id"] == 7


def test_many_orders_are_taken_all_or_none(logbook):
    wrong = [ORDER, ORDER | {"items": [ITEM | {"count": 0}]}]
    with pytest.raises(CommandRefused, match="1 to 1000 tiles"):
        logbook.note("add_orders", orders_packed=pack(json.dumps(wrong)))
    assert logbook.ask("orders")["total"] == 0

    logbook.note("add_orders", orders_packed=pack(json.dumps([ORDER] * 3)))

    assert [one["id"] for one in logbook.ask("orders")["orders"]] == [1, 2, 3]


def test_open_orders_come_by_the_day_they_are_due_and_in_pages(logbook):
    for due_on in ("", "2026-12-24", "2026-11-30"):
        take(logbook, due_on=due_on)

    first = logbook.ask("orders", limit=2)
    rest = logbook.ask("orders", limit=2, from_place=first["next_from"])

    assert [one["due_on"] for one in first["orders"]] == ["2026-11-30", "2026-12-24"]
    assert [one["due_on"] for one in rest["orders"]] == [""]
    assert (first["total"], rest["next_from"]) == (3, None)
    assert logbook.ask("orders", is_done=True)["total"] == 0


def test_an_order_on_a_surface_that_is_gone_is_still_read(logbook):
    take(logbook, items=[ITEM | {"surface": "nobody's"}])

    assert not item(logbook)["is_surface_known"]
    assert item(logbook)["trials"] == []


def test_an_item_that_was_etched_stays_and_another_can_be_taken_out(logbook):
    take(logbook, items=[ITEM, ITEM | {"title": "a cat"}])
    accept(logbook)
    put_on_bench(logbook)
    kept = order(logbook)

    with pytest.raises(CommandRefused, match="lower its number"):
        logbook.note("save_order", order=ORDER | {"items": []}, id=1, version=kept["version"])
    only = [kept["items"][0]["item"]]
    logbook.note("save_order", order=ORDER | {"items": only}, id=1, version=kept["version"])

    assert [one["item"]["title"] for one in order(logbook)["items"]] == ["a dog"]


def test_another_order_s_item_is_refused(logbook):
    take(logbook)
    take(logbook)

    with pytest.raises(CommandRefused, match="Order 2 has no item 1"):
        logbook.note("save_order", order=ORDER | {"items": [ITEM | {"id": 1}]}, id=2, version=1)


def test_an_order_is_forgotten_and_its_figures_stay(logbook):
    take(logbook, note="by post", may_use_photo_on="2026-11-25")
    accept(logbook)
    put_on_bench(logbook)
    run = etch(logbook)
    logbook.note("save_verdict", run=run, verdict="good", photo="tile-1.jpg")

    logbook.note("forget_order", id=1)

    assert logbook.ask("run", id=run)["verdicts"][0]["photo"] == ""

    kept = order(logbook)
    texts = json.dumps(kept)
    assert not any(word in texts for word in ("Ada", "Rex", "a dog", "by post", "by message"))
    assert (kept["customer"], kept["may_use_photo_on"]) == ("deleted", "")
    assert kept["forgotten_at_utc"].startswith("2026-11-26")
    assert kept["items"][0]["tiles"][0]["verdict"] == "good"


def test_what_a_tile_costs_is_said_once(logbook):
    assert logbook.ask("shop")["who"] == ""

    logbook.note("save_shop", figures={"machine_per_h": 2.5, "tile": 1.2}, who="Ada")

    kept = logbook.ask("shop")
    assert (kept["who"], kept["figures"]["machine_per_h"]) == ("Ada", 2.5)
    with pytest.raises(CommandRefused, match="Tile must be from 0"):
        logbook.note("save_shop", figures={"tile": -1.0})


def test_a_run_that_belongs_to_no_order_changes_none(logbook):
    take(logbook)
    accept(logbook)
    judge(logbook, etch(logbook))
    start_run(logbook)

    assert (item(logbook)["tiles"], item(logbook)["state"]) == ([], "ready")
