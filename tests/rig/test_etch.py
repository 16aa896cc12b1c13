"""An etch from its start to its end, as a person sees it."""

from dataclasses import replace

import numpy as np
import pytest

from etchdaemon.errors import CommandRefused, LogbookUnavailable
from etchdaemon.service.run.run_termination import TOLD_TO_END
from etchwire.sheet import SHEET_NAME, CardSettings, read_sheet
from rig.bench import KEPT_UP_WITH, patch


def _exposure(rig):
    """Return the light on the tile, gathered over half a millimetre of each row."""
    cells = rig.machine.tile.exposure_j_per_mm2((0.0, 0.0, 20.0, 1.0))
    cells_per_row, cells_across = len(cells) // 10, cells.shape[1] // 40
    return cells.reshape(10, cells_per_row, 40, cells_across).mean(axis=(1, 3))


def test_a_job_is_etched_to_its_end(rig):
    sheet = rig.start()

    rig.wait_for_the_end()

    assert (rig.run.ended, rig.run.etched_rows, rig.run.share) == (
        "complete", sheet.rows, 1.0,
    )  # fmt: skip
    assert not rig.contact.is_closed
    assert rig.record.end["ended"] == "complete"


def test_the_beam_stays_disabled_until_an_etch_starts(rig):
    rig.get_ready()
    rig.load()

    rig.wait(1.0)

    assert not rig.contact.is_closed


def test_the_dots_arrive_on_the_tile_where_the_picture_has_them(rig):
    bits = np.zeros((10, 60), dtype=bool)
    bits[2:8, 10:50] = True
    sheet = rig.start(rig.make_job(bits))

    rig.wait_for_the_end()

    left, bottom = sheet.picture.left_mm, sheet.picture.bottom_mm
    burnt = rig.machine.tile.exposure_j_per_mm2(
        (left + 1.2, bottom + 0.3, left + 4.8, bottom + 0.7)
    )
    beside = rig.machine.tile.exposure_j_per_mm2((left + 5.4, bottom, left + 6.0, bottom + 1.0))
    assert burnt.min() > 10 * beside.max()


def test_the_record_says_what_was_run_when_the_controller_limits_the_speed(rig):
    """2160 to 2310 mm/min on single dots of 0.1 mm: a cycle-accurate run of the firmware image."""
    rig.start(rig.make_job(patch(2, 400)))

    rig.wait_for_the_end()

    measured = [row for row in rig.record.rows if row.samples]
    assert all(2160 < row.feed_max_mm_per_min < 2500 for row in measured)
    for row in measured:
        share = row.feed_max_mm_per_min / 4000
        assert row.power_max_ratio == pytest.approx(0.6 * share, abs=0.005)
    assert rig.run.slow_rows == len(measured)
    slowed = rig.record.event("slowed")
    assert slowed["details"]["cause"] == "controller"
    assert "starved" not in rig.record.kinds()


def test_a_job_of_nothing_but_long_runs_keeps_the_recipes_speed(rig):
    bits = np.ones((3, 400), dtype=bool)
    rig.start(rig.make_job(bits))

    rig.wait_for_the_end()

    measured = [row for row in rig.record.rows if row.samples]
    assert measured
    for row in measured:
        assert row.feed_mean_mm_per_min == pytest.approx(4000, rel=0.01)
        assert row.power_mean_ratio == pytest.approx(0.6, rel=0.01)
    assert rig.run.slow_rows == 0


@pytest.mark.slow
def test_every_row_is_in_the_record_once(rig):
    rig.start(rig.make_job(patch(30, 50)))

    rig.wait_for_the_end()

    assert [row.row for row in rig.record.rows] == list(range(30))


def test_white_rows_count_as_soon_as_the_head_is_past_them(rig):
    bits = patch(12, 100)
    bits[4:8] = False
    rig.start(rig.make_job(bits))

    rig.etch_until_row(8)

    assert rig.run.etched_rows == 8


@pytest.mark.slow
def test_the_window_is_never_overfilled(rig):
    rig.start(rig.make_job(patch(10, 200)))

    rig.wait_for_the_end()

    assert rig.machine.controller.engine.receive.lost_bytes == 0


def test_a_hold_at_the_rows_end_comes_to_rest_there_with_the_beam_off(rig):
    sheet = rig.start(rig.make_job(patch(12, 200)))
    rig.etch_until_row(4)

    rig.ask("hold")
    rig.wait_until(lambda: rig.state == "held")

    x_mm, y_mm = rig.shown_position()
    ends = [(entry.to_mm, entry.y_mm) for entry in sheet.index[4:7]]
    assert (pytest.approx(x_mm, abs=0.02), pytest.approx(y_mm, abs=0.02)) in ends
    assert not rig.contact.is_closed
    assert rig.machine.controller.engine.state.name == "IDLE"


def test_held_rows_are_counted_and_the_reason_is_shown(rig):
    sheet = rig.start(rig.make_job(patch(12, 200)))
    rig.etch_until_row(4)

    rig.ask("hold")
    rig.wait_until(lambda: rig.state == "held")

    y_mm = rig.shown_position()[1]
    row = next(entry.row for entry in sheet.index if abs(entry.y_mm - y_mm) < 0.02)
    assert rig.run.etched_rows == row + 1
    assert rig.run.held_because == "You asked for a hold at the row's end."


def _hold_and_go_on(rig, rig_beside, how):
    """Etch the same picture on both, one of them with a hold, and return both tiles.

    At a speed at which the controller keeps up: a row that starves is no two times the same.
    """
    bits = patch(10, 120)
    rig_beside.start(rig_beside.make_job(bits, feed_mm_per_min=KEPT_UP_WITH))
    rig_beside.wait_for_the_end()
    rig.start(rig.make_job(bits, feed_mm_per_min=KEPT_UP_WITH))
    rig.etch_until_row(3)
    rig.wait(0.1)
    rig.ask(how)
    rig.wait_until(lambda: rig.state == "held")
    rig.wait(3.0)
    rig.ask("resume")
    rig.wait_for_the_end()
    return _exposure(rig), _exposure(rig_beside)


@pytest.mark.slow
def test_a_hold_at_the_rows_end_leaves_the_tile_as_if_it_had_not_been(rig, rig_beside):
    held, unheld = _hold_and_go_on(rig, rig_beside, "hold")

    assert rig.run.ended == "complete"
    assert [row.row for row in rig.record.rows] == list(range(10))
    assert np.abs(held - unheld).max() < 0.02 * unheld.max()


@pytest.mark.slow
def test_a_hold_now_leaves_a_faint_band_in_its_row_and_nothing_else(rig, rig_beside):
    held, unheld = _hold_and_go_on(rig, rig_beside, "hold_now")

    assert rig.run.ended == "complete"
    place = rig.record.event("cut")["details"]
    across = np.arange(held.shape[1]) * 0.5
    beside = np.abs(across + 0.25 - place["x_mm"]) > 2.5  # braking way and start, 1.4 mm each
    assert np.abs(held - unheld)[:, beside].max() < 0.02 * unheld.max()
    assert held[unheld > 0.5 * unheld.max()].min() > 0.3 * unheld.max()


def test_a_hold_now_rests_in_mid_row_with_the_beam_off_at_rest(rig):
    rig.start(rig.make_job(patch(12, 300)))
    rig.etch_until_row(2)
    rig.wait(0.2)

    rig.ask("hold_now")
    rig.wait_until(lambda: rig.state == "held", within_s=0.8)

    assert rig.machine.controller.suspension.is_at_hold
    assert not rig.contact.is_closed
    assert "cut" in rig.record.kinds()


def test_the_machine_does_not_move_while_held(rig):
    rig.start(rig.make_job(patch(12, 300)))
    rig.etch_until_row(2)
    rig.ask("hold_now")
    rig.wait_until(lambda: rig.state == "held")
    place = rig.machine.head_mm

    rig.wait(10.0)

    assert rig.machine.head_mm == place
    assert rig.state == "held"


def test_a_stop_comes_to_rest_keeps_the_position_and_empties_the_controller(rig):
    rig.start(rig.make_job(patch(12, 300)))
    rig.etch_until_row(3)

    rig.ask("stop")
    rig.wait_for_the_end(within_s=2.0)

    assert rig.run.ended == "stopped"
    assert "osition unknown" not in rig.run.because
    place = rig.machine.head_mm
    rig.wait(2.0)
    assert rig.machine.head_mm == place
    assert rig.link == "ready"


def test_a_stop_records_the_place_of_the_cut_for_whoever_takes_up_the_rest(rig):
    rig.start(rig.make_job(patch(12, 300)))
    rig.etch_until_row(3)

    rig.ask("stop")
    rig.wait_for_the_end()

    cut = rig.record.event("cut")["details"]
    assert cut["row"] == 3
    assert cut["x_mm"] == pytest.approx(rig.machine.head_mm[0], abs=cut["error_mm"] + 0.05)


def test_a_stop_while_held_ends_the_run(rig):
    rig.start(rig.make_job(patch(12, 300)))
    rig.etch_until_row(2)
    rig.ask("hold")
    rig.wait_until(lambda: rig.state == "held")

    rig.ask("stop")
    rig.wait_for_the_end(within_s=2.0)

    assert rig.run.ended == "stopped"


def test_after_a_stop_the_next_run_needs_no_restart(rig):
    rig.start(rig.make_job(patch(6, 200)))
    rig.etch_until_row(2)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()

    rig.ask("start")
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    assert len(rig.records.runs) == 2


def test_nothing_starts_while_the_logbook_cannot_be_written(rig):
    rig.set_origin()
    rig.load()
    rig.records.trouble = "The disk is full."

    with pytest.raises(LogbookUnavailable, match="full"):
        rig.ask("start")

    rig.wait_until(lambda: rig.state == "loaded", within_s=0.1)


@pytest.mark.fault("disk full for the log")
def test_an_etch_goes_on_and_people_are_told_when_the_logbook_fills_its_disk(rig):
    rig.start()
    rig.records.trouble = "The disk is full."

    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    assert rig.commands.snapshot().logbook_trouble == "The disk is full."


def test_nothing_can_be_held_before_something_is_etched(rig):
    rig.get_ready()
    rig.load()

    with pytest.raises(CommandRefused, match="could be held"):
        rig.ask("hold")


@pytest.mark.fault("wall clock jumps by a year")
def test_a_wall_clock_that_jumps_by_a_year_disturbs_nothing(rig):
    rig.start()
    rig.wait(0.5)

    rig.clock.year += 1
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    assert rig.run.elapsed_s < 10


def test_a_daemon_that_has_to_end_cuts_the_beam_and_stops_the_etch(rig):
    rig.start(rig.make_job(patch(12, 300)))
    rig.etch_until_row(2)

    rig.service.wind_down()
    assert not rig.contact.is_closed
    rig.wait_for_the_end(within_s=2.0)

    assert rig.run.ended == "stopped"
    assert rig.run.because == TOLD_TO_END


def test_speed_and_power_can_be_changed_while_etching_and_are_read_back(rig):
    rig.start(rig.make_job(np.ones((12, 400), dtype=bool)))
    rig.etch_until_row(1)

    rig.ask("set_feed", percent=73)
    rig.ask("set_power", percent=120)
    rig.wait(1.5)

    assert rig.machine.controller.engine.planner.feed_percent == 73
    assert rig.machine.controller.engine.power_percent == 120
    assert (rig.run.feed_percent, rig.run.power_percent) == (73, 120)
    assert "The power follows the speed" in rig.record.event("override")["text"]
    rig.wait_for_the_end()
    assert rig.run.ended == "complete"
    assert min(row.feed_min_mm_per_min for row in rig.record.rows) < 0.75 * 4000


def test_a_burn_strength_beyond_full_power_is_made_by_power_and_speed_together(rig):
    # 120 % of a recipe at full power: 1.2 J for 1 J, at the same power in 1 / 1.2 of the speed.
    rig.start(rig.make_job(patch(12, 400), power_ratio=1.0))
    rig.etch_until_row(1)

    rig.ask("set_dose", percent=120)
    rig.wait(1.5)

    assert (rig.run.feed_percent, rig.run.power_percent) == (83, 120)
    assert rig.machine.controller.engine.planner.feed_percent == 83
    assert rig.machine.controller.engine.power_percent == 120
    with pytest.raises(CommandRefused, match="from 60 to 150"):
        rig.ask("set_dose", percent=160)


def test_speed_cannot_be_changed_while_nothing_is_etched(rig):
    rig.get_ready()
    rig.load()

    with pytest.raises(CommandRefused):
        rig.ask("set_feed", percent=110)
    with pytest.raises(CommandRefused):
        rig.ask("set_dose", percent=110)
    assert not {"set_feed", "set_power"} & set(rig.commands.snapshot().may)


def test_the_dose_of_a_test_card_cannot_be_changed(rig):
    folder = rig.make_job(patch(8, 200))
    sheet = read_sheet(folder)
    settings = CardSettings(
        low_feed_mm_per_min=1000.0,
        high_feed_mm_per_min=6000.0,
        low_power_ratio=0.2,
        high_power_ratio=1.0,
    )
    (folder / SHEET_NAME).write_text(replace(sheet, card=settings).to_json())
    rig.start(folder)
    rig.etch_until_row(2)

    assert not {"set_feed", "set_power"} & set(rig.commands.snapshot().may)
    for command in ("set_feed", "set_power", "set_dose"):
        with pytest.raises(CommandRefused, match="patches are compared"):
            rig.ask(command, percent=110)


@pytest.mark.slow
@pytest.mark.parametrize("how", ["hold", "hold_now"])
def test_the_lid_may_be_opened_at_the_controllers_own_door_while_held(rig, how):
    rig.start(rig.make_job(patch(8, 200)))
    rig.etch_until_row(2)
    rig.ask(how)
    rig.wait_until(lambda: rig.state == "held")
    rig.machine.open_door_pin()
    rig.wait(2.0)
    with pytest.raises(CommandRefused, match="lid"):
        rig.ask("resume")
    rig.machine.close_door_pin()
    rig.wait(1.0)

    rig.ask("resume")
    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    assert [row.row for row in rig.record.rows] == list(range(8))


def test_an_origin_that_was_moved_behind_our_back_is_told_of_before_a_start(rig):
    rig.set_origin()
    rig.load()
    rig.machine.write(b"G10L20P1X-5\n")
    rig.wait(1.0)

    with pytest.raises(CommandRefused, match=r"G54 was 0\.000 .* and is 5\.000 .*set the origin"):
        rig.ask("start")
    with pytest.raises(CommandRefused, match="set the origin"):
        rig.ask("start")

    rig.ask("set_origin")
    rig.ask("start")
    rig.wait_for_the_end()
    assert rig.run.ended == "complete"


def test_the_logbook_is_told_which_job_lies_on_the_bench(rig):
    rig.get_ready()

    sheet = rig.load()
    loaded = rig.records.loaded_job
    rig.ask("unload")

    assert (loaded, rig.records.loaded_job) == (sheet.gcode_sha256, None)
