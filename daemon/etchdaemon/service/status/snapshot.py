"""What is shown of the daemon: the snapshot of the wire, built in this one place."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Final

from etchdaemon.ports import Clock
from etchdaemon.run.overrides import Override
from etchdaemon.run.states import State
from etchdaemon.service.idle.job_origin import JobOrigin
from etchdaemon.service.idle.jog_controller import JogController
from etchdaemon.service.job.inspection import Inspection
from etchdaemon.service.job.spool import SpooledJob
from etchdaemon.service.link.bed import bed_of
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.run.etch import Etch
from etchwire.calls.snapshot import JobView, MachineView, RunView, TileView
from etchwire.catalogue.heads import Head

PACE_AFTER_S: Final = 20.0
PACE_LIMITS: Final = (0.8, 5.0)

SENTENCES: Final[Mapping[State, str]] = {
    State.STARTING: "Looking for the machine.",
    State.IDLE: "No picture is loaded.",
    State.LOADED: "The picture is loaded.",
    State.ARMED: "Ready to start.",
    State.ETCHING: "Etching.",
    State.HOLDING: "Coming to rest.",
    State.HELD: "Held: the machine stands still and the beam is off.",
    State.RESUMING: "Resuming.",
    State.STOPPING: "Stopping.",
    State.ENDED: "",
}

_ENDED: Final = {"complete": "", "stopped": "Stopped.", "failed": "Failed."}


def machine_of(machine: Machine, origin: JobOrigin, jog: JogController) -> MachineView:
    """Return the machine's part; a machine that is ready may still lack an origin."""
    report, facts = machine.report, machine.facts
    place_mm = None
    if report is not None and machine.link.value in ("ready", "refused"):
        place_mm = report.work_mm or report.machine_mm
    return MachineView(
        link=machine.link.value,
        sentence=_and(machine.sentence, origin.request if machine.is_ready else None),
        origin=origin.view(),
        firmware=facts.firmware.name if facts is not None and facts.firmware else None,
        port=machine.port_name,
        is_practice=machine.is_practice,
        position_mm=None if place_mm is None else (place_mm[0] + 0.0, place_mm[1] + 0.0),
        controller_state=None if report is None else report.state,
        controller=None if facts is None else machine.measured.profile(facts),
        bed=bed_of(machine),
        is_moving=jog.is_under_way,
        moved=jog.sentence,
    )


def job_of(job: SpooledJob | None, inspection: Inspection) -> JobView | None:
    """Return the job's part."""
    if job is None:
        return None
    sheet = job.sheet
    return JobView(
        title=sheet.title,
        sha256=sheet.gcode_sha256,
        rows=sheet.rows,
        columns=sheet.columns,
        width_mm=sheet.width_mm,
        height_mm=sheet.height_mm,
        line_spacing_mm=sheet.recipe.line_spacing_mm,
        feed_mm_per_min=sheet.recipe.feed_mm_per_min,
        power_ratio=sheet.recipe.power_ratio,
        power_w=sheet.recipe.power_w(sheet.head),
        dose_j_per_mm2=sheet.dose_j_per_mm2,
        predicted_s=sheet.predicted_s,
        surface=sheet.recipe.surface,
        head=sheet.head.name,
        tidied_lines=sheet.original.tidied_lines if sheet.original else 0,
        preflight=inspection.view(),
        continues_run_id=job.continues_run,
        rows_above=job.rows_above,
        picture_sha256=job.picture_sha256 or sheet.gcode_sha256,
        picture_mm=sheet.picture,
        reach_mm=sheet.motion,
        pointer_mm=_pointer_of(sheet.head),
        card=sheet.card,
        pockets=tuple(part.pocket for part in sheet.parts),
    )


def _pointer_of(head: Head) -> tuple[float, float] | None:
    """Return where the pointer shines, seen from the beam's place; None where they are one."""
    place_mm = (head.pointer_x_mm, head.pointer_y_mm)
    return place_mm if any(place_mm) else None


def run_of(
    etch: Etch | None,
    machine: Machine,
    clock: Clock,
    *,
    why_not_resume: str | None,
    late_end: str | None,
) -> RunView | None:
    """Return the run's part."""
    if etch is None:
        return None
    sheet, progress, report = etch.job.sheet, etch.progress, machine.report
    left_s = remaining_s(etch)
    ended, because = (None, None) if etch.ended_at_s is None else etch.ending or (None, None)
    moves = etch.ended_at_s is None and report is not None and report.state == "Run"
    feed = report.feed_mm_per_min if moves and report is not None else None
    power = report.power_setting if moves and report is not None else None
    power_ratio = None if power is None else power / etch.meter.max_s
    return RunView(
        id=etch.number,
        continues_run_id=etch.job.continues_run,
        started_at_utc=etch.started_at_utc,
        elapsed_s=etch.elapsed_s,
        etched_rows=etch.etched_rows,
        row=None if progress.entry is None else progress.entry.row,
        share=progress.predicted_s / sheet.predicted_s if sheet.predicted_s else 0.0,
        remaining_s=left_s,
        ends_at_utc=_ends_at_utc(etch, left_s, clock),
        feed_mm_per_min=feed,
        power_ratio=power_ratio,
        power_w=None if power_ratio is None else power_ratio * sheet.head.rated_optical_w,
        feed_percent=etch.percent[Override.FEED],
        power_percent=etch.percent[Override.POWER],
        held_because=etch.held_because,
        why_not_resume=why_not_resume,
        late_end=late_end,
        ended=ended,
        because=because,
        slow_rows=etch.meter.slow_rows,
        tile=_tile_of(etch, clock),
    )


def _tile_of(etch: Etch, clock: Clock) -> TileView | None:
    """Return the tile in work; None before the first, and in a job of one."""
    sheet, entry = etch.job.sheet, etch.progress.entry
    part = None if entry is None else sheet.part_of_row(entry.row)
    if part is None:
        return None
    left_s = remaining_s(etch, until_s=sheet.end_of_part_s(part))
    return TileView(
        pocket=part.pocket,
        title=part.title,
        number=sheet.parts.index(part) + 1,
        tiles=len(sheet.parts),
        remaining_s=left_s,
        ends_at_utc=_ends_at_utc(etch, left_s, clock),
    )


def sentence_of(
    state: State, etch: Etch | None, machine: Machine, objection: str | None = None
) -> str:
    """Return the one sentence of the state; `objection` is why nothing can be started."""
    if state is State.ENDED and etch is not None and etch.ending is not None:
        ended, because = etch.ending
        is_stated = not machine.is_ready or not etch.is_position_known  # by the ending itself
        return _and(f"{_ENDED[ended]} {because}".strip(), None if is_stated else objection)
    if state in (State.STOPPING, State.HOLDING, State.HELD) and etch is not None:
        because = etch.ending[1] if etch.ending else etch.held_because or ""
        return f"{SENTENCES[state]} {because}".strip()
    if state in (State.STARTING, State.IDLE, State.LOADED) and machine.link.value != "ready":
        return f"{SENTENCES[state]} {machine.sentence}"
    return _and(SENTENCES[state], objection if state is State.LOADED else None)


def _and(sentence: str, more: str | None) -> str:
    return sentence if more is None else f"{sentence} {more}"


def remaining_s(etch: Etch, *, until_s: float | None = None) -> float | None:
    """Return the time left by the pace so far, holds left out; None once it has ended.

    That is to the end of the job, or to a predicted moment before it.
    """
    if etch.ended_at_s is not None:
        return None
    done_s = etch.progress.predicted_s
    end_s = etch.job.sheet.predicted_s if until_s is None else until_s
    left_s = max(end_s - done_s, 0.0)
    if done_s < PACE_AFTER_S:
        return left_s
    slowest, fastest = PACE_LIMITS[1], PACE_LIMITS[0]
    return left_s * min(max(etch.moving_s / done_s, fastest), slowest)


def _ends_at_utc(etch: Etch, remaining_s: float | None, clock: Clock) -> str | None:
    if remaining_s is None or etch.held_because is not None:
        return None
    wall_s = remaining_s / clock.seconds_per_wall_second
    ends_at = datetime.fromisoformat(clock.utc_now()) + timedelta(seconds=wall_s)
    return ends_at.isoformat(timespec="seconds").replace("+00:00", "Z")
