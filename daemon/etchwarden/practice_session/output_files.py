"""What a practice session leaves behind: the job, the tile before and after, the record."""

import json
import os
from pathlib import Path
from typing import Final

from PIL import Image

from etchwarden.shared.job_summary import duration
from etchwire.calls.client import DaemonClient
from etchwire.calls.history import Comparison, RunRecord
from etchwire.record import run_record
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, read_sheet
from etchwire.storing import write_whole
from etchwire.transport.line_client import LineClient

ETCHED_NAME: Final = "etched.png"
UNWIPED_NAME: Final = "unwiped.png"
RECORD_NAME: Final = "run.json"


def require_writable(folder: Path) -> None:
    """Make `folder` if need be; raise OSError with a sentence when it cannot be written to."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OSError(f"{folder} cannot be made: {error.strerror}. Choose another.") from error
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OSError(f"{folder} cannot be written to. Choose another, or change its permissions.")


def keep(
    folder: Path, run_id: int, *, daemon: DaemonClient, machine: LineClient, job: Path
) -> None:
    """Leave the record of a run in `folder`, with job and tile."""
    for name in (GCODE_NAME, SHEET_NAME, PICTURE_NAME):
        write_whole(folder / name, (job / name).read_bytes())
    machine.call("picture", **_picture_of_tile(job, folder.resolve()))
    write_whole(folder / RECORD_NAME, json.dumps(run_record(daemon.ask, run_id), indent=1))


def _picture_of_tile(job: Path, folder: Path) -> dict[str, object]:
    """Ask for the very frame and scale of the promise, so that the two can be laid together."""
    picture = read_sheet(job).picture
    with Image.open(job / PICTURE_NAME) as promised:
        mm_per_px = (picture.right_mm - picture.left_mm) / promised.width
    return {
        "before": str(folder / UNWIPED_NAME),
        "after": str(folder / ETCHED_NAME),
        "rectangle": [picture.left_mm, picture.bottom_mm, picture.right_mm, picture.top_mm],
        "mm_per_px": mm_per_px,
    }


def summary(run: RunRecord, folder: Path | None) -> str:
    """Return what a person wants to know at the end, in a few lines."""
    lines = [
        f"{_ENDED[run.ended or '']}: {run.etched_rows} of {run.rows} rows in "
        f"{duration(run.elapsed_s or 0.0)} of machine time. {run.because or ''}".rstrip(),
        *_speed(run.comparison),
    ]
    if folder is not None:
        names = (GCODE_NAME, SHEET_NAME, PICTURE_NAME, ETCHED_NAME, UNWIPED_NAME, RECORD_NAME)
        lines.append(f"Left in {folder}: {', '.join(names)}.")
    return "\n".join(lines)


_ENDED: Final = {"complete": "Etched", "stopped": "Stopped", "failed": "Failed"}


def _speed(comparison: Comparison) -> tuple[str, ...]:
    reached = comparison.feed_mean_mm_per_min
    if reached is None:
        return ()
    asked_feed, slow = comparison.feed_asked_mm_per_min, comparison.slow_rows_ratio
    lines = [
        f"Speed while the beam was on: {reached:.0f} mm/min; the recipe asked for {asked_feed:g}."
    ]
    if slow:
        lines.append(
            f"{slow * 100:.0f} % of the rows ran more than 5 % slower than that: their detail is "
            "finer than the controller can plan ahead for. Power followed the speed."
        )
    return tuple(lines)
