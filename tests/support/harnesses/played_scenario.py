"""A scenario played on real processes by the command that people type."""

import subprocess
import sys

PATIENCE_S = 120.0


def play(path, *options):
    """Play the scenario at `path`, or the one of that name which comes with the program."""
    return subprocess.run(
        [sys.executable, "-m", "etchwarden", "practice", "--scenario", path, "--once", *options],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
