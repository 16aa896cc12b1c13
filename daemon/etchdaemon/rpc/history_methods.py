"""What may be asked of the logbook: its `read.queries` answer under the same names."""

from typing import Final

from etchdaemon.rpc.method import Method, Number, Right, Word

_RUN: Final = Number("id")
_LIMIT: Final = Number("limit", 500)

HISTORY_METHODS: Final = (
    Method(
        "runs",
        Right.OBSERVE,
        "Runs, newest first, older than run `before`; `next_before` asks for more. A search gives"
        " `head`, `surface`, days (`since`, `until`) or `text`.",
        (
            Number("before", None),
            _LIMIT,
            *(
                Word(name, str, otherwise="")
                for name in ("head", "surface", "since", "until", "text")
            ),
        ),
    ),
    Method(
        "run",
        Right.OBSERVE,
        "One run: sheet, end, verdicts, and what was run beside the recipe.",
        (_RUN,),
    ),
    Method(
        "run_rows",
        Right.OBSERVE,
        "What was run in each row, from `from_row`; `next_row` asks for more.",
        (_RUN, Number("from_row", 0), _LIMIT),
    ),
    Method(
        "run_events",
        Right.OBSERVE,
        "Holds, resumes, faults, from behind event `after`; `next_after` asks for more.",
        (_RUN, Number("after", 0), _LIMIT),
    ),
)
