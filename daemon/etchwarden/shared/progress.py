"""A bar for work that lasts; in a log file it would be noise."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Final

import click

_STEPS: Final = 1000
_AFTER_S: Final = 1.0


@contextmanager
def progress_shown(label: str) -> Iterator[Callable[[float], None]]:
    """Yield what takes the share done, 0 to 1; a terminal shows it once it has lasted a second."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    shown_from_s = time.monotonic() + _AFTER_S
    with ExitStack() as bar_on_screen:
        bar = click.progressbar(length=_STEPS, label=label, file=sys.stderr)

        def show(done: float) -> None:
            if time.monotonic() < shown_from_s:
                return
            if not bar.entered:
                bar_on_screen.enter_context(bar)
            bar.update(round(done * _STEPS) - bar.pos)

        yield show
