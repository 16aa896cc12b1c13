"""A contact that never opens may be stuck and looks safe: what was seen of it, and when."""

import pytest

from etchdaemon.interlocks.checks.proof_tests import (
    AT_NEW_PINS,
    DUE_AFTER_DAYS,
    OPEN_FOR_S,
    PROOF_KINDS,
    ProofTests,
)
from etchdaemon.interlocks.inputs import Input, Level, Look
from etchdaemon.interlocks.setup import EVERYTHING, Setup
from etchdaemon.interlocks.start.starting import StartRequest
from support.harnesses.interlock_bench import DAY, MINIMUM, NOON, Bench

STOP = Input.STOP_CIRCUIT
LATER = {"2026-05-04": False, "2026-06-03": False, "2026-06-04": True, "2026-05-03": True}


def see(proofs, *seen, every_s=0.2):
    """Show levels of the stop circuit one after another; None is an input that cannot be read."""
    for number, is_closed in enumerate(seen):
        now_s = 10 + number * every_s
        levels = {} if is_closed is None else {STOP: Level(is_closed, now_s)}
        proofs.take(Look(levels=levels, opened=(), now_s=now_s))


def due(proofs, day):
    return [one.name for one in proofs.report(day) if one.is_due]


@pytest.mark.parametrize(
    ("seen", "proves"),
    [
        ((True, False, True), True),
        ((False, True), True),
        ((True, True), False),
        ((True, False), False),
        ((True, None, True), False),
        ((True, False, None, True), False),
    ],
    ids=["pressed", "pressed at the start", "never", "not released", "unread", "lost while open"],
)
def test_what_opens_and_closes_again_is_proven(seen, proves):
    proofs = ProofTests(EVERYTHING)
    see(proofs, *seen)

    assert proofs.take_openings() == ((STOP,) if proves else ())
    assert proofs.take_openings() == ()


def test_a_wire_that_is_loose_for_a_moment_proves_nothing():
    proofs = ProofTests(EVERYTHING)
    see(proofs, True, False, True, every_s=OPEN_FOR_S / 2)

    assert proofs.take_openings() == ()


@pytest.mark.parametrize(("day", "is_due"), LATER.items(), ids=LATER)
def test_a_proof_is_asked_for_again_after_a_month_or_when_the_clock_was_wrong(day, is_due):
    proofs = ProofTests(frozenset({STOP}))
    assert proofs.note(STOP, "2026-05-04")

    assert due(proofs, day) == ([STOP.value] if is_due else [])
    assert DUE_AFTER_DAYS == 30


def test_only_what_opens_by_no_daily_work_is_asked_for_and_only_where_it_is_wired():
    asked = [name.value for name in PROOF_KINDS if not PROOF_KINDS[name].is_opened_daily]

    assert due(ProofTests(EVERYTHING), DAY) == asked == ["stop_circuit", "flame", "temperature"]
    assert due(ProofTests(MINIMUM), DAY) == []
    assert [one.name for one in ProofTests(MINIMUM).report(DAY)] == ["lid"]


def test_a_person_reads_when_it_was_and_what_to_do():
    proofs = ProofTests(frozenset({STOP}))
    (never,) = proofs.report(DAY)
    proofs.note(STOP, DAY)
    (today,) = proofs.report(DAY)

    assert never.sentence == (
        "The stop circuit is not tested yet. Press the stop button, release it, and reset."
    )
    assert today.sentence == "The stop circuit was last seen to open on 2026-05-04."


@pytest.mark.parametrize("is_required", [True, False])
def test_at_other_pins_each_contact_is_to_open_once_more(is_required):
    proofs = ProofTests(EVERYTHING)
    for name in AT_NEW_PINS:
        proofs.note(name, DAY)
    proofs.demand(["flame"], is_required=is_required)

    asked = set(due(proofs, DAY)) - {"temperature"}
    assert asked == {"lid", "lid_second", "stop_circuit"}
    assert (proofs.required_action is not None) is is_required
    assert proofs.note(STOP, DAY), "the day is the same, the pin is not"
    assert not proofs.note(STOP, DAY)
    assert "stop circuit" not in (proofs.required_action or "")
    for name in (Input.LID, Input.LID_SECOND):
        proofs.note(name, DAY)
    assert proofs.required_action is None


def test_what_an_earlier_life_has_noted_counts_and_nothing_older_replaces_it():
    proofs = ProofTests(frozenset({STOP, Input.FLAME}))
    proofs.note(STOP, DAY)
    proofs.recall({"stop_circuit": "2026-01-01", "flame": "2026-04-30", "unknown": DAY})

    assert proofs.record() == {"stop_circuit": DAY, "flame": "2026-04-30"}


def test_every_run_says_when_each_contact_was_last_seen_to_open():
    bench = Bench(Setup(wired=EVERYTHING))
    bench.interlocks.proofs.note(STOP, DAY)
    bench.arm()

    record = bench.interlocks.begin_run(StartRequest(lasts_s=60, starts_at=NOON), bench.now_s)

    assert record["seen_to_open"]["stop_circuit"] == DAY
    assert record["seen_to_open"]["flame"] is None
