"""What holds while an installation works: nobody else works on it, and no signal cuts it in two."""

import fcntl
import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Final

from etchwarden.installation.errors import Refused
from etchwarden.installation.paths import Places

Handler = Callable[..., object] | signal.Handlers

EVERYBODY_READS: Final = 0o022  # of a umask: root's own may hide releases from the daemon's user
# A line to the board that is lost is no reason to stop; being asked to end is, in order.
WHILE_AT_WORK: Final[Mapping[signal.Signals, Handler]] = {
    signal.SIGHUP: signal.SIG_IGN,
    signal.SIGTERM: signal.default_int_handler,
}
WHILE_GOING_BACK: Final[Mapping[signal.Signals, Handler]] = dict.fromkeys(
    (signal.SIGHUP, signal.SIGTERM, signal.SIGINT), signal.SIG_IGN
)


@contextmanager
def one_at_a_time(places: Places) -> Iterator[None]:
    """Keep a second installation out; raise Refused when one is under way."""
    before = os.umask(EVERYBODY_READS)
    try:
        places.lock.parent.mkdir(parents=True, exist_ok=True)
        with places.lock.open("w") as file, _handled(WHILE_AT_WORK):
            os.set_inheritable(file.fileno(), True)  # see `programs.run`
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as error:
                raise Refused(
                    "Another installation is under way. Wait until it has ended."
                ) from error
            yield
    finally:
        os.umask(before)


@contextmanager
def to_the_end() -> Iterator[None]:
    """Go on whatever is pressed: half of the way back is worse than either end of it."""
    with _handled(WHILE_GOING_BACK):
        yield


@contextmanager
def _handled(
    handlers: Mapping[signal.Signals, Handler],
) -> Iterator[None]:
    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread can say what signals do
        return
    before = {number: signal.signal(number, handler) for number, handler in handlers.items()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
