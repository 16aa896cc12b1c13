"""A scenario played on real processes by the command that people type."""

import signal
import subprocess
import sys

from click.testing import CliRunner

from etchwarden.__main__ import main

PATIENCE_S = 120.0


def play(path, *options):
    """Play the scenario at `path`, or the one of that name which comes with the program."""
    return subprocess.run(
        [sys.executable, "-m", "etchwarden", *_words(path, options)],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )


def say(path, *options):
    """Play it by the command in this process: machine, daemon and page are others all the same."""
    ends = signal.getsignal(signal.SIGTERM)
    try:
        return CliRunner().invoke(main, _words(path, options))
    finally:
        signal.signal(signal.SIGTERM, ends)  # the command's own would end the tests


def _words(path, options):
    return ["practice", "--scenario", str(path), "--once", *options]
