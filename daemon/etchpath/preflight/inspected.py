"""A file on disk, inspected: for which machine, and what is written beside the report."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO, Final

from etchpath.errors import NoFile, UnreadableMachine
from etchpath.index import IndexBuilder, write_index
from etchpath.machine import Machine
from etchpath.preflight import Report, inspect
from etchpath.preflight.inspection import TakesStates, TakesTimes
from etchpath.preflight.picture import PathPicture
from etchpath.tidying import Tidying
from etchwire.errors import UnreadableSheet
from etchwire.sheet import GCODE_NAME, SHEET_NAME, Sheet
from etchwire.transport.json_text import JsonTable

ASSUMED: Final = Machine(
    travel_x_mm=400.0,
    travel_y_mm=400.0,
    max_feed_x_mm_per_min=10000.0,
    max_feed_y_mm_per_min=10000.0,
    acceleration_x_mm_per_s2=1000.0,
    acceleration_y_mm_per_s2=1000.0,
    max_s=1000.0,
)


def inspect_file(
    path: Path,
    *,
    machine: Machine | JsonTable | None = None,
    index: Path | None = None,
    picture: Path | None = None,
    on_progress: Callable[[float], None] = lambda _: None,
) -> Report:
    """Inspect the G-code at `path` (or in the job folder there), and write what is asked for.

    Without a `machine` it is the head's of the sheet beside the file, else ASSUMED. A file that
    no sheet stands beside is tidied on its way, as it will be when it is loaded. `on_progress`
    hears how much is done, 0 to 1. Raise OSError where a file cannot be read or written, NoFile
    for a device or a pipe, and UnreadableMachine for a bad description.
    """
    gcode = gcode_path(path)
    if gcode.exists() and not gcode.is_file():
        raise NoFile(f"{gcode} is no ordinary file")
    if isinstance(machine, Mapping):
        machine = Machine.from_table(machine)
    if machine is None:
        machine = machine_for(gcode) or ASSUMED
    passes = 2 if picture else 1
    builder = IndexBuilder()
    is_job = gcode.with_name(SHEET_NAME).exists()
    with gcode.open("rb") as file:
        whole_bytes = passes * gcode.stat().st_size
        see = inspect if is_job else inspect_tidied
        report = see(
            file,
            machine,
            on_states=[builder.see_states] if index else [],
            on_times=[builder.see_times] if index else [],
            on_progress=lambda read: on_progress(read / whole_bytes),
        )
        if index:
            write_index(
                index,
                builder.entries(),
                gcode_sha256=report.gcode_sha256,
                has_reentry=report.has_reentry,
            )
        if picture:  # in a second pass, once the bounds are known
            drawing = PathPicture(report)
            file.seek(0)
            source = file if is_job else Tidying(file)
            inspect(
                source,
                machine,
                on_times=[drawing.see_times],
                on_progress=lambda read: on_progress(0.5 + read / whole_bytes),
            )
            drawing.save(picture)
    return report


def inspect_tidied(
    file: BinaryIO,
    machine: Machine,
    *,
    on_states: Sequence[TakesStates] = (),
    on_times: Sequence[TakesTimes] = (),
    on_progress: Callable[[int], None] = lambda _: None,
) -> Report:
    """Inspect the copy that would be sent of `file`, and say what was tidied in it."""
    source = Tidying(file)
    report = inspect(
        source, machine, on_states=on_states, on_times=on_times, on_progress=on_progress
    )
    return replace(report, tidied_lines=source.tidied_lines, original_sha256=source.original_sha256)


def gcode_path(path: Path) -> Path:
    """Return the G-code meant by `path`: the file itself, or that of a job folder."""
    return path / GCODE_NAME if path.is_dir() else path


def machine_for(gcode: Path) -> Machine | None:
    """Return the machine of the head that the sheet beside `gcode` names, None without a sheet."""
    sheet = gcode.with_name(SHEET_NAME)
    try:
        return Machine.of_head(Sheet.from_json(sheet.read_bytes()).head)
    except FileNotFoundError:
        return None
    except UnreadableSheet as error:
        raise UnreadableMachine(f"the job sheet beside the file cannot be used: {error}") from error
