"""A daemon for page tests: answers from a table, remembers what it was asked, holds no socket.

What it says is invented here as tables, as they cross the socket, and read by the wire's own types.
"""

import copy
import json
import queue
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from etchwire.calls.call import Call, parameters_of
from etchwire.calls.catalogue import CATALOGUE_NOTES
from etchwire.calls.json_values import from_json_value, to_json_value
from etchwire.calls.machine import LoadedJob
from etchwire.calls.orders import ORDER_NOTES
from etchwire.calls.snapshot import JobView, RunView, Snapshot
from etchwire.errors import DaemonAbsent, Refused
from etchwire.sheet import Sheet
from support.fakes.fake_catalogue import CRAFT
from support.fakes.fake_machine import AT_REST, SETTINGS, WIRING
from support.fakes.fake_unfinished import answer_unfinished

SHA256: Final = "ab" * 32
GONE: Final = "The daemon does not answer."

ORIGIN_SHIFTED: Final = {
    "kind": "shifts its origin",
    "severity": "acknowledge",
    "line": 4,
    "count": 1,
    "text": "G92X0",
    "reason": "The file moves its own origin.",
    "fix": "It cannot be taken up again after a cut.",
}


def preflight(verdict: str = "ready", *findings: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the daemon shows of a job's check."""
    return {
        "verdict": verdict,
        "sentence": "Job checked: no problems.",
        "to_acknowledge": [one["kind"] for one in findings if one["severity"] == "acknowledge"],
        "findings": list(findings),
        "findings_count": len(findings),
    }


JOB: Final = {
    "preflight": preflight(),
    "title": "Lighthouse at dusk",
    "sha256": SHA256,
    "rows": 1000,
    "columns": 1000,
    "width_mm": 100.0,
    "height_mm": 100.0,
    "line_spacing_mm": 0.1,
    "feed_mm_per_min": 4000.0,
    "power_ratio": 0.6,
    "power_w": 12.0,
    "dose_j_per_mm2": 1.8,
    "predicted_s": 2460.0,
    "surface": "practice tile, white paint",
    "head": "practice 20 W",
    "tidied_lines": 0,
    "continues_run_id": None,
    "rows_above": 0,
    "picture_sha256": SHA256,
    "picture_mm": {"left_mm": 5.0, "bottom_mm": 0.0, "right_mm": 105.0, "top_mm": 100.0},
    "reach_mm": {"left_mm": 0.0, "bottom_mm": 0.0, "right_mm": 110.0, "top_mm": 100.0},
    "pointer_mm": None,
    "card": None,
}

RUN: Final = {
    "id": 7,
    "continues_run_id": None,
    "started_at_utc": "2026-11-25T17:02:00+00:00",
    "elapsed_s": 1080.0,
    "etched_rows": 412,
    "row": 412,
    "share": 0.43,
    "remaining_s": 1390.0,
    "ends_at_utc": "2026-11-25T17:43:10+00:00",
    "feed_mm_per_min": 3170.0,
    "power_ratio": 0.47,
    "power_w": 9.5,
    "feed_percent": 100,
    "power_percent": 100,
    "held_because": None,
    "why_not_resume": None,
    "late_end": None,
    "ended": None,
    "because": None,
    "slow_rows": 37,
}

MACHINE: Final = {
    "link": "ready",
    "sentence": "The controller is ready.",
    "firmware": "1.1h",
    "port": "/dev/pts/4",
    "position_mm": [12.0, 58.8],
    "controller_state": "Run",
    "controller": None,
    **AT_REST,
}

QUESTIONS: Final = (
    {"key": "lens", "text": "The lens is wiped and looked at.", "kind": "confirmation",
     "choices": [], "how_often": "day"},
    {"key": "focus", "text": "The focus is set; how?", "kind": "choice",
     "choices": ["spacer", "by eye"], "how_often": "bed"},
    {"key": "coated hours ago", "text": "How many hours ago was it coated last?", "kind": "hours",
     "choices": [], "how_often": "tile"},
)  # fmt: skip

BOX: Final = {
    "phase": "idle",
    "is_beam_enabled": False,
    "rules": [
        {"name": "lid closed", "state": "good", "sentence": None, "lasts_s": 750.0,
         "changed": None, "is_required": True},
        {"name": "fumes extracted", "state": "bad", "sentence": "no air flows.", "lasts_s": 5.0,
         "changed": "Set otherwise for this box: it waits 1.5 s, because the paddle flutters.",
         "is_required": False},
        {"name": "no flame or smoke", "state": "stale", "sentence": None, "lasts_s": None,
         "changed": None, "is_required": True},
    ],
    "trips": [],
    "arming": {
        "step": "disarmed", "is_under_way": False, "is_possible": True, "failed_because": None,
        "start_within_s": None,
    },
    "request": None,
    "is_somebody_there": False,
    "questions": QUESTIONS,
    "extraction": "The fan is off.",
    "is_round_asking": False,
    "is_look_asked": False,
    "asked_for": None,
    "is_attended_only": True,
    "is_watch_only": False,
    "seen_to_open": [
        {"name": "lid", "day": "2026-11-24", "is_due": False,
         "sentence": "The lid contact was last seen to open on 2026-11-24."},
        {"name": "stop_circuit", "day": None, "is_due": True,
         "sentence": "The stop circuit is not tested yet. Press the stop button."},
        {"name": "safety_relay", "day": "2026-11-23", "is_due": False,
         "sentence": "The safety relay was last seen to fall on 2026-11-23."},
    ],
    "lacks": ["No flame detector is wired: nothing but you sees a fire."],
    "changes": {},
    "board_trouble": None,
}  # fmt: skip

STORAGE: Final = {
    "free_bytes": 12_000_000_000,
    "low": None,
    "last_backup_at_utc": "2026-11-25T03:00:00Z",
    "backup_trouble": None,
}

ROUND: Final = "Is somebody within reach of the machine? Without an answer it holds."

LID_TRIP: Final = {
    "name": "lid closed",
    "reaction": "trip",
    "phase": "etching",
    "sentence": "Lid opened. Touch nothing; close it, reset, then resume.",
    "is_reset_at_machine": False,
}


def box(step: str = "disarmed", **changes: Any) -> dict[str, Any]:
    """Return the box's report while arming stands at `step`, with `changes` laid over it.

    What has tripped is still bad, unless the changes name the rules.
    """
    tripped = {trip["name"] for trip in changes.get("trips", ())}
    bad = {"state": "bad", "sentence": "not good", "lasts_s": 5.0}
    rules = [{**rule, **bad} if rule["name"] in tripped else rule for rule in BOX["rules"]]
    left_s = 42.3 if step == "armed" else None
    arming = {**BOX["arming"], "step": step, "start_within_s": left_s}
    asked = {"asked_for": ROUND} if changes.get("is_round_asking") else {}
    return {**BOX, "rules": rules, "arming": arming, **asked, **changes}


LATE_END: Final = (
    "This would end at 18:20 and its last look come at 18:50, after closing time at 18:30"
)
STAYS: Final = f"{LATE_END}. Whoever stays until then confirms it with their name."
TOO_LATE: Final = f"{LATE_END}. Start it earlier, or tomorrow."
HELD_BECAUSE: Final = "Ann’s phone asked for a hold at the row's end."
_AT_REST: Final = {"feed_mm_per_min": 0.0, "power_ratio": 0.0, "power_w": 0.0}
_OVER: Final = {**_AT_REST, "row": None, "remaining_s": None, "ends_at_utc": None}

# What each state looks like: changes to the idle snapshot.
STATES: Final[Mapping[str, Mapping[str, Any]]] = {
    "starting": {"state": "starting", "sentence": "Waiting for the controller's greeting."},
    "idle": {"state": "idle", "sentence": "The controller is ready. No picture is loaded."},
    "loaded": {
        "state": "loaded",
        "sentence": "Lighthouse at dusk is loaded, 1000 rows.",
        "may": ["arm", "unload"],
        "job": JOB,
    },
    "arming": {
        "state": "loaded",
        "sentence": "Lighthouse at dusk is loaded, 1000 rows.",
        "may": ["disarm"],
        "job": JOB,
        "interlocks": box("waiting for somebody at the machine", questions=()),
    },
    "armed": {
        "state": "armed",
        "sentence": "Lighthouse at dusk can be started.",
        "may": ["start", "disarm"],
        "job": JOB,
        "interlocks": box("armed", questions=()),
    },
    "etching": {
        "state": "etching",
        "sentence": "Row 413 of 1000 is being etched.",
        "may": ["hold", "hold_now", "stop", "set_feed", "set_power"],
        "job": JOB,
        "run": RUN,
    },
    "holding": {
        "state": "holding",
        "sentence": "It comes to rest at the end of row 413.",
        "may": ["hold_now", "stop"],
        "job": JOB,
        "run": RUN,
    },
    "held": {
        "state": "held",
        "sentence": f"At rest after row 413; the beam is off. {HELD_BECAUSE}",
        "may": ["resume", "stop"],
        "job": JOB,
        "run": {
            **RUN,
            **_AT_REST,
            "etched_rows": 413,
            "held_because": HELD_BECAUSE,
        },
    },
    "complete": {
        "state": "ended",
        "sentence": "All 1000 rows are etched; the beam is off and the head is parked.",
        "may": ["unload"],
        "job": JOB,
        "run": {**RUN, **_OVER, "elapsed_s": 2502.0, "etched_rows": 1000, "ended": "complete"},
    },
    "stopped": {
        "state": "ended",
        "sentence": "You stopped it in row 413.",
        "may": ["arm", "unload"],
        "job": JOB,
        "run": {**RUN, **_OVER, "ended": "stopped", "because": "you stopped it"},
    },
    "tripped": {
        "state": "ended",
        "sentence": "The lid was opened in row 413.",
        "may": ["reset", "unload"],
        "job": JOB,
        "run": {**RUN, **_OVER, "ended": "stopped", "because": "the lid was opened"},
        "interlocks": box(trips=[LID_TRIP]),
    },
    "failed": {
        "state": "ended",
        "sentence": "Cable lost at row 804; beam off.",
        "may": ["unload"],
        "job": JOB,
        "run": {**RUN, **_OVER, "etched_rows": 803, "ended": "failed", "because": "cable lost"},
        "machine": {
            **MACHINE,
            "link": "lost",
            "sentence": "The cable to the controller is out. Put it back; it is found by itself.",
        },
    },
    "controller lost": {
        "state": "idle",
        "sentence": "Nothing can be etched until the controller is back.",
        "machine": {
            **MACHINE,
            "link": "absent",
            "sentence": "No controller at /dev/etchwarden/laser. Look at its cable and its power.",
            "firmware": None,
            "position_mm": None,
            "controller_state": None,
        },
    },
}


def snapshot_table(state: str, /, **changes: Any) -> dict[str, Any]:
    """Return the snapshot of a state of STATES as it crosses the socket, with `changes`."""
    idle = {
        "sequence": 1,
        "at_utc": "2026-11-25T17:20:00+00:00",
        "state": "idle",
        "sentence": "",
        "may": [],
        "machine": MACHINE,
        "job": None,
        "asked_at_start": {},
        "run": None,
        "unfinished": None,
        "interlocks": BOX,
        "logbook_trouble": None,
        "storage": STORAGE,
        "time_factor": 1,
    }
    return copy.deepcopy({**idle, **STATES[state], **changes})


def snapshot(state: str, **changes: Any) -> Snapshot:
    """Return the snapshot of a state of STATES, with `changes` laid over it."""
    return from_json_value(snapshot_table(state, **changes), Snapshot)


def job_view(**changes: Any) -> JobView:
    """Return JOB with `changes` laid over it."""
    return from_json_value({**JOB, **changes}, JobView)


def run_view(**changes: Any) -> RunView:
    """Return RUN with `changes` laid over it."""
    return from_json_value({**RUN, **changes}, RunView)


ETCH: Final = {
    "id": 7,
    "title": "Lighthouse at dusk",
    "gcode_sha256": SHA256,
    "rows": 1000,
    "columns": 1000,
    "width_mm": 100.0,
    "height_mm": 100.0,
    "head": "practice 20 W",
    "head_rated_optical_w": 20.0,
    "head_max_s": 1000.0,
    "head_max_feed_mm_per_min": 10000.0,
    "head_acceleration_mm_per_s2": 1000.0,
    "head_spot_x_mm": 0.08,
    "head_spot_y_mm": 0.08,
    "surface": "practice tile, white paint",
    "recipe_feed_mm_per_min": 4000.0,
    "recipe_power_ratio": 0.6,
    "recipe_line_spacing_mm": 0.1,
    "recipe_is_air_assist": False,
    "dose_j_per_mm2": 1.8,
    "predicted_s": 2460.0,
    "started_at_utc": "2026-11-25T17:02:00+00:00",
    "is_clock_synchronised": True,
    "ended": "complete",
    "because": None,
    "ended_at_utc": "2026-11-25T17:43:42+00:00",
    "elapsed_s": 2502.0,
    "etched_rows": 1000,
    "continues_run_id": None,
    "continued_by_run_id": None,
    "lot": None,
    "beam_s": 1490.0,
    "feed_run_mm_per_min": 3710.0,
    "power_run_ratio": 0.556,
    "verdict": None,
    "verdicts": [],
    "notes": {},
    "sheet": {"halftone": "stucki", "coverage": 0.42, "is_both_directions": True},
    "comparison": {
        "feed_asked_mm_per_min": 4000.0,
        "power_asked_ratio": 0.6,
        "measured_rows": 940,
        "estimated_rows": 12,
        "feed_mean_mm_per_min": 3710.0,
        "power_mean_ratio": 0.556,
        "slow_rows_ratio": 0.31,
        "dose_ratio": 1.0,
        "slowest_row": {
            "row": 388, "feed_mean_mm_per_min": 2110.0, "samples": 9, "is_estimated": False,
        },
    },
}  # fmt: skip

STOPPED_ETCH: Final = {
    **ETCH,
    "id": 6,
    "ended": "stopped",
    "because": "you stopped it in row 413",
    "etched_rows": 412,
    "elapsed_s": 1080.0,
    "is_clock_synchronised": False,
}

COLUMNS: Final = (
    "row", "samples", "is_estimated", "feed_mean_mm_per_min", "feed_min_mm_per_min",
    "feed_max_mm_per_min", "power_mean_ratio", "power_min_ratio", "power_max_ratio", "at_s",
)  # fmt: skip


def actuals(rows: range) -> list[list[Any]]:
    """Return invented figures of rows: the finer the detail, the slower."""
    figures = []
    for row in rows:
        feed = 4000.0 - 1500.0 * max(0.0, 1 - abs(row - 388) / 260)
        spread = [feed, feed * 0.9, min(4000.0, feed * 1.06)]
        power = [round(0.6 * value / 4000.0, 4) for value in spread]
        figures.append([row, 12, False, *spread, *power, row * 2.5])
    return figures


def answer_run(**params: Any) -> dict[str, Any]:
    """Answer `run`."""
    etches = {7: ETCH, 6: STOPPED_ETCH}
    if params["id"] not in etches:
        raise Refused("refused", f"There is no run {params['id']} in the logbook.")
    return etches[params["id"]]


def answer_rows(**params: Any) -> dict[str, Any]:
    """Answer `run_rows`: rows 300 to 329 hold no dots."""
    first, last = params["from_row"], 1000 if params["id"] == 7 else 412
    rows = [row for row in actuals(range(first, last)) if not 300 <= row[0] < 330]
    page = rows[: params["limit"]]
    more = rows[len(page)][0] if len(page) < len(rows) else None
    return {"columns": list(COLUMNS), "rows": page, "next_row": more}


EVENTS: Final = (
    {"id": 1, "at_utc": "2026-11-25T17:08:40+00:00", "details": {},
     "kind": "held", "at_s": 400.0, "text": "held at the end of row 160: you asked for it"},
    {"id": 2, "at_utc": "2026-11-25T17:12:40+00:00", "details": {},
     "kind": "resumed", "at_s": 640.0, "text": "went on with row 161"},
)  # fmt: skip

LOGBOOK: Final = {
    "runs": {"runs": [ETCH, STOPPED_ETCH], "next_before": None, "notes": []},
    "run": answer_run,
    "run_rows": answer_rows,
    "run_events": {"events": EVENTS, "next_after": None},
    **CRAFT,
    "settings": SETTINGS,
    "wiring": WIRING,
    "unfinished": answer_unfinished(),
    "confirmations": {},
}


# What it says when a command is done; to the others there is nothing to tell.
ANSWERS_WHEN_DONE: Final = {
    **{kind.method(): {"id": None} for kind in (*CATALOGUE_NOTES, *ORDER_NOTES)},
    "save_order": {"id": 3},
    "reenter": {"job_sha256": SHA256, "sentence": "Row 413 goes on."},
}


class FakeDaemon:
    """Stands where the daemon is; a test moves it from state to state."""

    def __init__(self, state: str = "idle", **changes: Any) -> None:
        self.asked: list[str] = []
        self.said: dict[str, Mapping[str, Any]] = {}
        self.is_away = False
        self.refusal: Refused | None = None
        self.answers: dict[str, Any] = dict(LOGBOOK)
        self._now = snapshot_table(state, **changes)
        self._told: queue.SimpleQueue[Mapping[str, Any] | None] = queue.SimpleQueue()
        self._told.put(self._now)

    def start_over(self) -> None:
        """Forget everything a test did; who listens stays."""
        self.asked.clear()
        self.said.clear()
        self.answers = dict(LOGBOOK)
        self.refusal = None
        self.is_away = False
        self.tell("idle")

    def tell(self, state: str, /, **changes: Any) -> None:
        """Be in another state, and say so to whoever listens."""
        self._now = snapshot_table(state, **changes)
        self._told.put(self._now)

    @property
    def has_more_to_tell(self) -> bool:
        """Whether somebody who listens has not been told everything yet."""
        return not self._told.empty()

    def go_away(self) -> None:
        """Answer nobody any more; whoever listens is cut off."""
        self.is_away = True
        self._told.put(None)

    def come_back(self) -> None:
        """Answer again."""
        self.is_away = False
        self._told.put(self._now)

    def refuse(self, sentence: str, kind: str = "refused") -> None:
        """Say no to every command from now on."""
        self.refusal = Refused(kind, sentence)

    def ask(self, call: Call[Any]) -> Any:
        """Answer as the daemon would."""
        params = json.loads(json.dumps(to_json_value(parameters_of(call))))
        answer = self.call(call.method(), **params)
        return from_json_value(answer, call.answer_type())

    def call(self, method: str, **params: Any) -> Any:
        """Answer as the daemon would, in tables as they cross the socket."""
        if self.is_away:
            raise DaemonAbsent(GONE)
        if method == "status":
            return copy.deepcopy(self._now)
        if method in self.answers:
            answer = self.answers[method]
            return answer(**params) if callable(answer) else answer
        self.asked.append(method)
        self.said[method] = params
        if self.refusal is not None:
            raise self.refusal
        return ANSWERS_WHEN_DONE.get(method, {})

    def load(self, gcode: Path, sheet: Path) -> LoadedJob:
        """Take a job as the daemon would, and remember its sheet."""
        self.call("load", gcode=gcode.read_bytes(), sheet=Sheet.from_json(sheet.read_bytes()))
        return LoadedJob(job_sha256=self.said["load"]["sheet"].gcode_sha256)

    def snapshots(self) -> Iterator[Snapshot]:
        """Yield what `tell` was given, until the daemon goes away."""
        while not self.is_away:
            try:
                told = self._told.get(timeout=0.05)
            except queue.Empty:
                told = self._now
            if told is not None and not self.is_away:
                yield from_json_value(told, Snapshot)
        raise DaemonAbsent(GONE)
