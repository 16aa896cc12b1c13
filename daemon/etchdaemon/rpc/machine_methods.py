"""What may be asked of the machine: the loop answers, or the snapshot does."""

from typing import Any, Final

from etchdaemon.rpc.method import Length, Method, Number, Right, Word

_PERCENT: Final = Number("percent")
_ACKNOWLEDGE: Final = Word("acknowledge", list[str], otherwise=[])
_PLACE: Final = (Length("x_mm"), Length("y_mm"))
_JOB: Final = ("gcode_fd", "sheet_fd")

MACHINE_METHODS: Final = (
    Method("status", Right.OBSERVE, "The snapshot: machine, job, run, and what may be asked now."),
    Method(
        "subscribe",
        Right.OBSERVE,
        "The snapshot, then `status` notifications: at most four a second, at least one.",
    ),
    Method("load", Right.OPERATE, "Take a job: copy, hash and check it.", files=_JOB),
    Method(
        "reenter",
        Right.OPERATE,
        "Load what is left of `run`; `confirm` is “tile and head have not moved” or “origin set"
        " again”, `row` the first that is not dark, by eye, where no cut was"
        " logged, or the one of two that it names; `accept_gap` that what stays unburnt of another"
        " program's file (`gap_mm` of `unfinished`) was read.",
        (
            Number("run"),
            Word("confirm", str),
            Number("row", None),
            Word("accept_gap", bool, otherwise=False),
        ),
    ),
    Method(
        "unfinished",
        Right.OBSERVE,
        "Whether `run` may be taken up again, what is known of its cut, and what is left of it"
        " (from `row` on, where a person sets the row by eye).",
        (Number("run"), Number("row", None)),
    ),
    Method("unload", Right.OPERATE, "Put the job away."),
    Method(
        "arm",
        Right.OPERATE,
        "Begin arming: `answers` to the checklist by key; the loop is tested, then somebody shows"
        " at the machine that they are there.",
        (
            Word("answers", dict[str, Any]),
            Word("test_heartbeat", bool, otherwise=False),
            _ACKNOWLEDGE,
        ),
    ),
    Method("disarm", Right.OPERATE, "Undo arming."),
    Method(
        "start",
        Right.OPERATE,
        "Begin to etch the job, once armed; `acknowledge` names kinds of findings that were read.",
        (
            Word("acknowledge_long_run", bool, otherwise=False),
            Word("stays_until_end", str, otherwise=""),
            _ACKNOWLEDGE,
        ),
    ),
    Method("hold", Right.OPERATE, "Come to rest at the row's end.", is_at_once=True),
    Method("hold_now", Right.OPERATE, "Come to rest within the row.", is_at_once=True),
    Method("resume", Right.OPERATE, "Go on after a hold."),
    Method(
        "reset",
        Right.OPERATE,
        "Reset the trips a person was shown, by `names`; nothing starts by that.",
        (Word("names", list[str]),),
    ),
    Method(
        "answer_round",
        Right.OPERATE,
        "Say that somebody is within reach, or has looked after the end.",
    ),
    Method("bed_touched", Right.OPERATE, "Ask the checklist's questions about the bed again."),
    Method(
        "set_feed",
        Right.OPERATE,
        "Change the speed of the etch; the power follows it.",
        (_PERCENT,),
    ),
    Method(
        "set_power",
        Right.OPERATE,
        "Change the power of the etch under way, in percent.",
        (_PERCENT,),
    ),
    Method(
        "set_dose",
        Right.OPERATE,
        "Change the burn strength in percent of the recipe's, by power and speed together.",
        (_PERCENT,),
    ),
    Method("home", Right.OPERATE, "Begin to home a machine that has switches for it."),
    Method("unlock", Right.OPERATE, "Unlock a controller that has locked itself."),
    Method("set_origin", Right.OPERATE, "Take the head's place as the job's origin."),
    Method(
        "find_origin",
        Right.OPERATE,
        "Put the origin where it was before, by its machine coordinates; only after homing.",
    ),
    Method(
        "move_to",
        Right.OPERATE,
        "Begin to move the head, beam off, to a place in the job's coordinates.",
        _PLACE,
    ),
    Method("move_by", Right.OPERATE, "Begin to move the head, beam off, by so much.", _PLACE),
    Method(
        "trace_outline",
        Right.OPERATE,
        "Begin to take the head, beam off, once round what the job will etch.",
        (Word("with_run_ups", bool, otherwise=False),),
    ),
    Method(
        "measure",
        Right.OPERATE,
        "Begin to measure how fast the controller takes in lines: some 30 s of moves along x, beam"
        " off, within 40 mm of where the head is.",
    ),
    Method(
        "settings",
        Right.OBSERVE,
        "The controller's settings that matter, as it answered last, and what they mean.",
    ),
    Method(
        "wiring", Right.OBSERVE, "Every input of the box as it is, every output as it was driven."
    ),
    Method(
        "try_output",
        Right.OPERATE,
        "Drive an output for a moment (withhold the heartbeat); never the beam's.",
        (Word("name", str), Word("on", bool, otherwise=True)),
    ),
    Method(
        "stop",
        Right.OPERATE,
        "End the run, and the beam goes out; or stop the head that moves.",
        is_at_once=True,
    ),
)
