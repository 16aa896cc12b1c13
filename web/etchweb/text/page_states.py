"""What each state of the machine is called on the page, and which picture it is laid out as."""

from typing import Final

HEADLINES: Final = {
    "starting": "Waking up",
    "idle": "No picture loaded",
    "loaded": "Loaded",
    "armed": "Ready to start",
    "etching": "Etching",
    "holding": "Coming to rest",
    "held": "Held",
    "resuming": "Resuming",
    "stopping": "Stopping",
    "complete": "Etched",
    "stopped": "Stopped",
    "failed": "It did not finish",
    "away": "The box does not answer",
    "absent": "The laser’s controller is missing",
    "lost": "The laser’s controller is missing",
    "refused": "The machine is not ready",
}

# The coarse picture of the page: what is laid out. Within one, only words and figures change.
SCENES: Final = {
    "starting": "empty",
    "idle": "empty",
    "loaded": "ready",
    "armed": "ready",
    "etching": "run",
    "holding": "run",
    "held": "run",
    "resuming": "run",
    "stopping": "run",
    "ended": "ended",
    "away": "away",
}
