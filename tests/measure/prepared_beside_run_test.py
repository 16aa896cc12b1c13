"""The window's refilling while jobs are prepared: `pytest -m measure THIS_FILE -s` prints it.

A re-entry or a load that was asked for at rest is still being prepared when somebody starts, and
what is left of a run can be asked for at any time. The daemon's loop etches on the paced cable of
`link_cost_test`; a thread beside it does, without a pause, what those calls do for a job of two
thousand rows: the rest by its real child process, the copy, hash and check of 15 MB, the sheet.
"""

import sys
import threading
from contextlib import contextmanager

import pytest

from etchdaemon.assembly import SWITCH_INTERVAL_S
from etchdaemon.hardware.rest_child import RestChild
from etchdaemon.ports import RunEnd
from etchdaemon.service.job.reentry import Reentry
from etchdaemon.service.job.spool import Spool
from etchpath.writer.dots import Order, write_job
from etchwire.calls.machine import ORIGIN_AGAIN
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from measure.costs import heading, tell
from measure.link_cost_test import (
    PLANNER_LIMIT,
    SECONDS,
    Bench,
    Cable,
    _has_passed,
    _percentile,
    job,  # noqa: F401 - a fixture
)
from rig.bench import patch
from rig.memory import MemoryRecords

pytestmark = pytest.mark.measure

ROWS, COLUMNS, ROW = 2000, 1000, 1
LOOKS = 5  # at what is left, for each re-entry


@pytest.fixture
def reentry(tmp_path):
    """A run of a large job that was cut short."""
    folder, kept = tmp_path / "large", tmp_path / "kept"
    folder.mkdir()
    kept.mkdir()
    order = Order(
        title="large",
        head=PRACTICE_HEADS["practice-20w"],
        recipe=PRACTICE_RECIPES["practice-20w"],
        halftone="none",
    )
    with (folder / GCODE_NAME).open("wb") as file:
        text = write_job(patch(ROWS, COLUMNS), file, order).to_json()
    (folder / SHEET_NAME).write_text(text)
    spool, records = Spool(kept), MemoryRecords()
    with (folder / GCODE_NAME).open("rb") as gcode, (folder / SHEET_NAME).open("rb") as sheet:
        spool.take_in(gcode_fd=gcode.fileno(), sheet_fd=sheet.fileno())
    end = RunEnd(
        run=records.start_run(sheet_json=text, notes={}),
        ended="stopped",
        because="You stopped it.",
        elapsed_s=0.0,
        at_utc="",
        etched_rows=ROW,
    )
    records.end_run(end)
    return Reentry(history=records, spool=spool, rests=RestChild())


@contextmanager
def prepared_without_end(reentry, is_wanted):
    """Prepare one re-entry after the other; yield what was prepared by now."""
    made, is_over = [], threading.Event()

    def prepare():
        while is_wanted and not is_over.is_set():
            for _ in range(LOOKS):
                reentry.outlook(run=1, row=ROW, is_under_way=True, is_place_kept=False)
            made.append(reentry.job(run=1, confirm=ORIGIN_AGAIN, row=ROW))

    thread = threading.Thread(target=prepare)
    thread.start()
    yield made
    is_over.set()
    thread.join()


@pytest.mark.parametrize("is_prepared", [False, True], ids=["without", "with"])
def test_how_soon_the_window_is_refilled_while_a_reentry_is_prepared(
    tmp_path,
    job,  # noqa: F811
    reentry,
    is_prepared,
):
    cable, interval_s = Cable(PLANNER_LIMIT), sys.getswitchinterval()
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    try:
        bench = Bench(tmp_path, cable)
        bench.start(job)
        bench.run_until(lambda: _has_passed(bench, 1.0))
        with prepared_without_end(reentry, is_prepared) as made:
            bench.run_until(lambda: _has_passed(bench, 1.0 + SECONDS))
        assert bench.is_streaming(), bench.commands.snapshot().sentence
        bench.service.close()
    finally:
        sys.setswitchinterval(interval_s)
    refills_ms = sorted(one * 1000 for one in cable.cut()["refills_s"])

    print(f"\n{'with' if is_prepared else 'without'} re-entries prepared beside it,"
          f" {SECONDS:.0f} s at {PLANNER_LIMIT:.0f} lines a second; {len(made)} made")  # fmt: skip
    heading("the daemon's loop on the cable")
    tell("window refilled after its answer", refills_ms)
    print(f"{'  p99.9':<56} {_percentile(refills_ms, 0.999):>35.3f}")
