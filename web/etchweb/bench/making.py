"""The one job of a bench plan: in the child process."""

import json
from collections.abc import Callable
from pathlib import Path

from etchphoto.layout.bench import BenchPlan, Laid, prepare_bench
from etchphoto.layout.jig import Jig
from etchweb.bench.files import JOB_FOLDER, PICTURES_OF_JOB, PLAN_NAME
from etchweb.previews.store import keep_picture
from etchwire.catalogue.jigs import JigRecord
from etchwire.sheet import PICTURE_NAME


def make_bench(folder: Path, on_progress: Callable[[float], None]) -> None:
    """Make the job of the plan in `folder`, with its pictures for the page."""
    asked = json.loads((folder / PLAN_NAME).read_bytes())
    plan = BenchPlan(
        name=asked["name"],
        jig=Jig.of_record(JigRecord.from_table(asked["jig"])),
        laid=tuple(Laid(**one | {"job": Path(one["job"])}) for one in asked["laid"]),
    )
    job = folder / JOB_FOLDER
    sheet = prepare_bench(plan, folder=job, is_replacing=True, on_progress=on_progress)
    keep_picture(
        job / PICTURE_NAME, folder=folder / PICTURES_OF_JOB, gcode_sha256=sheet.gcode_sha256
    )
