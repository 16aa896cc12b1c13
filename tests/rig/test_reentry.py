"""An etch that was cut short is taken up again: nothing missing, nothing burnt twice."""

import numpy as np
import pytest

from etchpath.reentry import Cut, write_rest
from etchwire.sheet import GCODE_NAME, SHEET_NAME, read_sheet
from rig.bench import patch

ROWS = 10


def _exposure(rig):
    """Return the light on the tile, gathered over half a millimetre of each row, top row first."""
    cells = rig.machine.tile.exposure_j_per_mm2((0.0, 0.0, 30.0, ROWS * 0.1))
    return cells.reshape(ROWS, len(cells) // ROWS, 60, -1).mean(axis=(1, 3))[::-1]


def _rest_of(rig, folder):
    """Write what is left of the job in `folder` after the cut in the record."""
    place = rig.record.event("cut")["details"]
    rest = rig.folder / "rest"
    rest.mkdir()
    cut = Cut(row=place["row"], x_mm=place["x_mm"])
    with (folder / GCODE_NAME).open("rb") as job, (rest / GCODE_NAME).open("w+b") as file:
        sheet = write_rest(job, read_sheet(folder), cut, file)
    (rest / SHEET_NAME).write_text(sheet.to_json())
    return rest, place


def _etched_in_two(rig, rig_beside, end_it):
    bits = patch(ROWS, 200)
    rig_beside.start(rig_beside.make_job(bits))
    rig_beside.wait_for_the_end()
    folder = rig.make_job(bits)
    rig.start(folder)
    rig.etch_until_row(4)
    rig.wait(0.2)
    end_it(rig)
    rig.wait_for_the_end()
    rest, place = _rest_of(rig, folder)
    rig.get_ready()
    rig.start(rest)
    rig.wait_for_the_end()
    assert rig.run["ended"] == "complete"
    return _exposure(rig), _exposure(rig_beside), place


@pytest.mark.parametrize(
    "end_it",
    [
        lambda rig: rig.ask("stop"),
        lambda rig: rig.machine.refuse_next_line(20),
        lambda rig: rig.machine.open_door_pin() or rig.wait(1.0) or rig.machine.close_door_pin(),
    ],
    ids=["stop", "fault", "door"],
)
def test_the_rest_meets_what_was_etched_within_the_logged_error(rig, rig_beside, end_it):
    in_two, at_once, place = _etched_in_two(rig, rig_beside, end_it)

    across_mm = np.arange(60) * 0.5 + 0.25
    reach_mm = place["error_mm"] + 2.5 + 1.0  # braking, and the half millimetres it falls into
    away = np.abs(across_mm - place["x_mm"]) > reach_mm
    others = np.arange(ROWS) != place["row"]
    worst = at_once.max()
    assert np.abs(in_two - at_once)[others].max() < 0.06 * worst
    assert np.abs(in_two - at_once)[:, away].max() < 0.06 * worst
    assert in_two.max() < 2.1 * worst


def test_the_log_says_which_row_was_cut_and_the_rest_begins_there(rig, rig_beside):
    _, _, place = _etched_in_two(rig, rig_beside, lambda rig: rig.ask("stop"))

    assert place["row"] == 4
    rest = [row.row for row in rig.records.runs[1].rows]
    assert rest == list(range(4, ROWS))
