"""A snapshot of the machine, turned into what the page *Watch* says: pure, values in, words out.

`watch_view` returns a flat table of words and numbers. The template prints it, and the stream
sends the entries that have changed, so that no word is formed in two places.
"""

from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Final

from etchweb.reentry.unfinished import NO_UNFINISHED, continues_words, unfinished_part
from etchweb.run.cause_presenter import NO_CAUSE, cause_part, reason_of
from etchweb.run.dose import NO_SHADES, shades_part
from etchweb.run.interlock_presenter import NO_BOX, box_part
from etchweb.run.preflight_presenter import NO_PREFLIGHT, preflight_part
from etchweb.text.emergencies import gravest_of
from etchweb.text.figures import power_figures, speed_figures, time_figures
from etchweb.text.formatting import (
    UNKNOWN,
    as_sentence,
    counted,
    grouped,
    millimetres,
    percent,
    short_duration,
    span,
    times_faster,
)
from etchweb.text.page_states import HEADLINES, SCENES
from etchweb.text.timestamps import clock_time
from etchweb.text.view import View
from etchwire.alert_policy import ALERT_POLICY, Occasion
from etchwire.calls.snapshot import AskedAtStart, JobView, RunView, Snapshot, TileView
from etchwire.sheet import tidied_words

ACTIONS: Final = (
    "arm", "disarm", "reset", "answer_round",
    "start", "hold", "hold_now", "resume", "stop", "set_power",
)  # fmt: skip
# Not knowing is no reason to keep anyone from asking for rest.
ALWAYS_ASKABLE: Final = ("hold", "hold_now", "stop")

_LINKS_WITH_TROUBLE: Final = {"absent", "refused", "lost"}
_AT_REST: Final = {"held", "ended"}


def away_view(sentence: str, offered: Collection[str] = ACTIONS) -> View:
    """Return what the page says while the daemon cannot be asked.

    `offered` are the calls that the visitor may make.
    """
    return {
        **_NOTHING,
        "scene": "away",
        "state": "away",
        "headline": HEADLINES["away"],
        "sentence": as_sentence(sentence),
        "trouble": "If the beam is on, use the stop circuit at the machine.",
        "may": [action for action in ALWAYS_ASKABLE if action in offered],
    }


def watch_view(snapshot: Snapshot, offered: Collection[str] = ACTIONS) -> View:
    """Return what the page says about `snapshot` to a visitor who may make the calls `offered`.

    Every key is always there.
    """
    state, headline = snapshot.state, _headline(snapshot)
    return {
        **_NOTHING,
        "scene": SCENES[state],
        "state": state,
        "headline": headline,
        "sentence": _sentence(snapshot, headline),
        **cause_part(snapshot, offered),
        "trouble": _trouble(snapshot),
        "may": _may(snapshot, offered),
        "alert": _alert(snapshot),
        "logbook": " ".join(map(as_sentence, snapshot.troubles)),
        "practice": _practice(snapshot),
        "is_origin_wanted": _is_origin_wanted(snapshot),
        **box_part(snapshot.interlocks),
        **preflight_part(snapshot.job),
        **_asked_part(snapshot.asked_at_start),
        **_job_part(snapshot.job),
        "back_at": _back_at(snapshot),
        **_run_part(snapshot),
        **unfinished_part(snapshot.unfinished, SCENES[state]),
    }


_NOTHING: Final[View] = {
    "scene": "empty",
    "state": "",
    "headline": "",
    "sentence": "",
    "trouble": "",
    "may": [],
    "alert": "",
    "logbook": "",
    "practice": "",
    "is_origin_wanted": False,
    "tile": "",
    "title": "",
    "size": "",
    "width_mm": 0,
    "height_mm": 0,
    "rows": 0,
    "columns": 0,
    "rows_total": UNKNOWN,
    "recipe": "",
    "is_card": False,
    "is_bench": False,
    "surface": "",
    "expected": "",
    "back_at": "",
    "tidied": "",
    "run": 0,
    "ended": "",
    "etched_rows": 0,
    "row": -1,
    "rows_done": UNKNOWN,
    "row_words": "",
    "left": UNKNOWN,
    "left_words": "",
    "elapsed": UNKNOWN,
    "ends_at": "",
    "speed": UNKNOWN,
    "speed_asked": "",
    "speed_words": "",
    "power": UNKNOWN,
    "power_asked": "",
    "power_words": "",
    "slow_words": "",
    "is_between_dots": False,
    "long_run": "",
    "stays": "",
    "too_late": "",
    "late": "",
    "continues": "",
    **NO_UNFINISHED,
    **NO_SHADES,
    **NO_BOX,
    **NO_CAUSE,
    **NO_PREFLIGHT,
}


def changes(before: View, after: View) -> View:
    """Return the entries of `after` that `before` did not have, or had otherwise."""
    return {name: value for name, value in after.items() if before.get(name, ...) != value}


def _headline(snapshot: Snapshot) -> str:
    emergency = gravest_of(snapshot.interlocks.trips)
    return emergency.title if emergency else HEADLINES[_headline_key(snapshot)]


def _headline_key(snapshot: Snapshot) -> str:
    if snapshot.run is not None and snapshot.run.ended and snapshot.state == "ended":
        return snapshot.run.ended
    link = snapshot.machine.link
    if link in _LINKS_WITH_TROUBLE and SCENES[snapshot.state] in ("empty", "ready"):
        return link
    return snapshot.state


def _sentence(snapshot: Snapshot, headline: str) -> str:
    """Return the daemon's sentence without what stands on the page already."""
    sentence = snapshot.sentence
    if _trouble(snapshot):
        sentence = sentence.replace(snapshot.machine.sentence, "").strip()
    for told in (reason_of(snapshot), *(trip.sentence for trip in snapshot.interlocks.trips)):
        sentence = sentence.replace(told, "").strip()
    if sentence.startswith((f"{headline}:", f"{headline}. ")):
        sentence = sentence[len(headline) + 1 :].strip()
    sentence = as_sentence(sentence)
    return "" if sentence == f"{headline}." else sentence


def _trouble(snapshot: Snapshot) -> str:
    machine = snapshot.machine
    return as_sentence(machine.sentence) if machine.link in _LINKS_WITH_TROUBLE else ""


def _alert(snapshot: Snapshot) -> str:
    """Return what somebody has to be called for, as `run/alarm.js` names it; nothing mostly."""
    occasion = _occasion(snapshot)
    return (ALERT_POLICY[occasion].call if occasion else None) or ""


def _occasion(snapshot: Snapshot) -> Occasion | None:
    box, run = snapshot.interlocks, snapshot.run
    if box.trips:
        return Occasion.TRIP
    if box.asked_for:
        return Occasion.LOOK if box.is_look_asked else Occasion.ROUND
    if snapshot.state == "ended":
        is_whole = run is not None and run.ended == "complete"
        return Occasion.END if is_whole else Occasion.STOP
    return Occasion.HOLD if snapshot.state == "held" else None


def _practice(snapshot: Snapshot) -> str:
    time_factor = snapshot.time_factor
    if time_factor != 1:
        return f"Practice machine. Time runs {times_faster(time_factor)} faster."
    return "Practice machine." if snapshot.machine.is_practice else ""


def _is_origin_wanted(snapshot: Snapshot) -> bool:
    """Whether the loaded job waits for an origin that could be set now."""
    is_known = snapshot.machine.origin.is_known
    return snapshot.job is not None and not is_known and "set_origin" in snapshot.may


def _asked_part(asked: AskedAtStart) -> View:
    sentences = {
        "long_run": asked.long_run, "stays": asked.stays, "too_late": asked.too_late,
    }  # fmt: skip
    late = "too late" if asked.too_late else "somebody stays" if asked.stays else ""
    return {"late": late, **{name: as_sentence(why) for name, why in sentences.items() if why}}


def _may(snapshot: Snapshot, offered: Collection[str]) -> list[str]:
    return [action for action in ACTIONS if action in snapshot.may and action in offered]


def _job_part(job: JobView | None) -> View:
    if job is None:
        return {}
    return {
        "tile": job.sha256,
        "title": job.title,
        "size": _size_words(job),
        "width_mm": job.width_mm,
        "height_mm": job.height_mm,
        "rows": job.rows,
        "columns": job.columns,
        "etched_rows": job.rows_above,
        "rows_total": grouped(job.rows),
        "recipe": (
            f"{_speeds_of(job)} mm/min at {_powers_of(job)} % power, "
            f"rows {millimetres(job.line_spacing_mm)} mm apart"
        ),
        "is_card": job.card is not None,
        "is_bench": bool(job.pockets) and job.continues_run_id is None,
        "surface": f"{job.head}, on {job.surface}",
        "expected": short_duration(job.predicted_s),
        "tidied": tidied_words(job.tidied_lines) if job.tidied_lines else "",
        "speed_asked": f"of {_speeds_of(job)} mm/min",
        "power_asked": f"of {_powers_of(job)} %",
        "continues": continues_words(job.continues_run_id),
    }


def _size_words(job: JobView) -> str:
    if job.pockets:
        pockets = ", ".join(map(str, job.pockets))
        return (
            f"{counted(len(job.pockets), 'tile', 'tiles')}, pockets {pockets} in this order; "
            "every other pocket is left out"
        )
    return f"{millimetres(job.width_mm)} × {millimetres(job.height_mm)} mm"


def _back_at(snapshot: Snapshot) -> str:
    """Return the clock time at which the loaded job would end, started now; in whole minutes."""
    if snapshot.job is None or snapshot.time_factor != 1:
        return ""
    end = datetime.fromisoformat(snapshot.at_utc) + timedelta(seconds=snapshot.job.predicted_s)
    return clock_time((end + timedelta(minutes=1)).isoformat())


def _speeds_of(job: JobView) -> str:
    card = job.card
    if card is None:
        return grouped(job.feed_mm_per_min)
    return span(grouped(card.low_feed_mm_per_min), grouped(card.high_feed_mm_per_min))


def _powers_of(job: JobView) -> str:
    card = job.card
    if card is None:
        return percent(job.power_ratio)
    return span(percent(card.low_power_ratio), percent(card.high_power_ratio))


def _run_part(snapshot: Snapshot) -> View:
    job, run = snapshot.job, snapshot.run
    if job is None or run is None:
        return {}
    is_at_rest = snapshot.state in _AT_REST
    return {
        "run": run.id,
        "ended": run.ended or "",
        "etched_rows": run.etched_rows,
        "row": -1 if run.row is None or run.ended else run.row,
        "rows_done": grouped(run.etched_rows),
        "row_words": "" if is_at_rest else _row_words(run),
        "elapsed": short_duration(run.elapsed_s),
        "slow_words": "" if job.card else _slow_words(run.slow_rows),
        **shades_part(job, run),
        **time_figures(run, is_at_rest, snapshot.time_factor),
        **speed_figures(job, run, is_at_rest),
        **power_figures(job, run, is_at_rest),
    }


def _row_words(run: RunView) -> str:
    if run.row is None:
        return ""
    row = f"row {grouped(run.row + 1)} in work"
    return row if run.tile is None else f"{_tile_words(run.tile)}; {row}"


def _tile_words(tile: TileView) -> str:
    """Return which tile is in work, and when it ends; all of them end when the run does."""
    ends = f", ends {clock_time(tile.ends_at_utc)}" if tile.ends_at_utc else ""
    return f"tile {tile.number} of {tile.tiles}, in pocket {tile.pocket}{ends}"


def _slow_words(slow_rows: int | None) -> str:
    if not slow_rows:
        return ""
    return f"{counted(slow_rows, 'row', 'rows')} ran slower than the recipe asks"
