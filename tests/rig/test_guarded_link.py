"""Box and link together: a lid opened in a row and the etch taken up again, a daemon held up."""

import numpy as np
import pytest

from etchwire.calls.machine import NOT_MOVED
from rig.bench import KEPT_UP_WITH, light_by_row, patch
from rig.guarded import GuardedRig

pytestmark = pytest.mark.slow

ROWS = 10


@pytest.fixture
def rig_named(tmp_path):
    made = []

    def make(name):
        (tmp_path / name).mkdir()
        made.append(GuardedRig(tmp_path / name))
        return made[-1]

    yield make
    for rig in made:
        rig.service.close()


@pytest.fixture
def rig(rig_named):
    return rig_named("rig")


def _open_the_lid_in_row(rig, row):
    rig.start(rig.make_job(patch(ROWS, 200), feed_mm_per_min=KEPT_UP_WITH))
    rig.etch_until_row(row)
    rig.wait(0.2)
    rig.board.open_lid()
    rig.wait_for_the_end()
    rig.wait(1.0)
    rig.board.close_lid()
    rig.wait(2.0)


@pytest.mark.parametrize("row", [4, 5])
def test_after_a_lid_was_opened_in_a_row_the_rest_meets_it_within_what_was_logged(rig_named, row):
    rig, beside = rig_named("rig"), rig_named("beside")
    beside.start(beside.make_job(patch(ROWS, 200), feed_mm_per_min=KEPT_UP_WITH))
    beside.wait_for_the_end()
    _open_the_lid_in_row(rig, row)
    cut = rig.record.event("cut")["details"]

    rig.reset()
    rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None)
    rig.arm()
    rig.ask("start")
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    assert rig.record.continues_run == 1
    assert cut["row"] in (row, row + 1)
    _assert_no_row_is_missing_or_doubled(rig, cut)
    _assert_the_seam_is_no_wider_than_logged(
        light_by_row(rig, ROWS), light_by_row(beside, ROWS), cut
    )


def _assert_no_row_is_missing_or_doubled(rig, cut):
    first, second = ([row.row for row in run.rows] for run in rig.records.runs)
    assert first == list(range(cut["row"]))
    assert second == list(range(cut["row"], ROWS))


def _assert_the_seam_is_no_wider_than_logged(in_two, at_once, cut):
    """Rows apart from the cut's are as if etched at once; its own is, but for the error's reach."""
    across_mm = np.arange(60) * 0.5 + 0.25
    away = np.abs(across_mm - cut["x_mm"]) > cut["error_mm"] + 0.5
    others = np.arange(ROWS) != cut["row"]
    allowed = 0.06 * at_once.max()
    assert np.abs(in_two - at_once)[others].max() < allowed
    assert np.abs(in_two - at_once)[cut["row"], away].max() < allowed
    assert in_two.max() < 2.1 * at_once.max()


def test_nothing_goes_on_by_closing_the_lid_or_by_resetting(rig):
    _open_the_lid_in_row(rig, 4)
    etched = rig.run.etched_rows

    rig.reset()
    rig.wait(10.0)

    assert rig.state == "ended"
    assert rig.run.etched_rows == etched
    assert not rig.is_beam_enabled


def test_a_daemon_that_stood_still_for_five_seconds_ends_the_run_and_says_that_it_did(rig):
    rig.start(rig.make_job(patch(ROWS, 200)))
    rig.etch_until_row(3)

    rig.machine.advance(5.0)
    rig.service.step()  # the loop wakes up before the guard
    rig.wait_for_the_end()

    assert rig.run.ended == "stopped"
    assert "held up for 5.0 s" in rig.run.because
    assert "lid" not in rig.run.because
    assert not rig.is_beam_enabled


@pytest.mark.fault("host paused for 5 s")
@pytest.mark.parametrize("wakes_first", ["guard", "loop"])
def test_a_daemon_that_stood_still_is_one_cause_and_one_trip_to_reset(rig, wakes_first):
    rig.start(rig.make_job(patch(ROWS, 200)))
    rig.etch_until_row(3)

    rig.machine.advance(5.0)
    rig.guard.monitor.look() if wakes_first == "guard" else rig.service.step()
    rig.wait_for_the_end()
    rig.wait(1.0)
    (trip,) = rig.box.trips
    told = [event["text"] for event in rig.record.events if event["kind"] == "trip"]
    rig.reset()
    rig.arm()
    rig.ask("start")
    rig.wait_for_the_end()

    assert trip.name == "guard well"
    assert told == [trip.sentence]
    assert rig.run.ended == "complete"


def test_what_is_bad_when_somebody_looks_again_is_a_trip_of_its_own(rig):
    rig.start(rig.make_job(patch(ROWS, 200)))
    rig.etch_until_row(3)

    rig.machine.advance(5.0)
    rig.service.step()
    rig.board.open_lid()
    rig.wait_for_the_end()

    assert {"guard well", "lid closed"} <= set(rig.tripped)


def test_where_the_beam_went_out_meanwhile_is_logged_no_better_than_it_is_known(rig):
    rig.start(rig.make_job(patch(ROWS, 200)))
    rig.etch_until_row(3)
    rig.wait_until(lambda: 8.0 < rig.machine.head_mm[0] < 12.0)
    from_mm = rig.machine.head_mm[0]

    rig.machine.advance(5.0)
    rig.wait_for_the_end()

    cut = rig.record.event("cut")["details"]
    reach_mm = (cut["x_mm"] - cut["error_mm"], cut["x_mm"] + cut["error_mm"])
    assert reach_mm[0] <= min(from_mm, cut["rest_x_mm"])
    assert reach_mm[1] >= max(from_mm, cut["rest_x_mm"])


def test_a_lid_opened_while_the_daemon_stood_still_is_told_of_as_well(rig):
    rig.start(rig.make_job(patch(ROWS, 200)))
    rig.etch_until_row(3)

    rig.board.open_lid()
    rig.machine.advance(5.0)
    rig.guard.monitor.look()  # whichever of the two wakes up first
    rig.wait_for_the_end()

    assert "held up for 5.0 s" in rig.run.because
    assert "The lid is open" in rig.run.because
