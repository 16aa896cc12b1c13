"""A bar for work that lasts; in a log file it would be noise."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

import click

_STEPS: Final = 1000


@contextmanager
def progress_shown(label: str) -> Iterator[Callable[[float], None]]:
    """Give something to tell how much is done, 0 to 1; it shows on a terminal and nowhere else."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=_STEPS, label=label, file=sys.stderr) as bar:
        yield lambda done: bar.update(round(done * _STEPS) - bar.pos)
