"""A process that keeps a logbook until it is killed, and says what the logbook has confirmed."""

import resource
import sys
from pathlib import Path

from etchdaemon.errors import LogbookUnavailable
from support.harnesses.logbooks import END, EVENT, OPENED_UTC, NamedLogbook, row_of, start_run


def say(*words):
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def confirm_without_end(logbook):
    """Print the number of each event once it is on disk; rows go in between."""
    run = start_run(logbook)
    say("run", run)
    number = 0
    while True:
        number += 1
        logbook.note_rows(run, [row_of(number)])
        logbook.confirm_event(run, **(EVENT | {"text": str(number)}))
        say(number)


def meet_a_full_disk(logbook):
    """Let no file of this process grow any more, then let it again."""
    run = start_run(logbook)
    size_bytes = sum(path.stat().st_size for path in Path(sys.argv[1]).parent.glob("logbook*"))
    _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, most))
    refused = 0
    for number in range(200):
        logbook.note_rows(run, [row_of(number)])
        logbook.note_event(run, **(EVENT | {"text": f"noted {number}"}))
        try:
            logbook.confirm_event(run, **(EVENT | {"text": f"confirmed {number}"}))
        except LogbookUnavailable:
            refused += 1
    say("refused", refused)
    say("trouble", logbook.trouble)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
    logbook.end_run(run, **END)
    logbook.confirm_event(run, **(EVENT | {"text": "there is room again"}))
    say("trouble", logbook.trouble)


if __name__ == "__main__":
    with NamedLogbook.at(Path(sys.argv[1]), utc_now=lambda: OPENED_UTC) as kept:
        {"confirm": confirm_without_end, "full": meet_a_full_disk}[sys.argv[2]](kept)
