"""Which tests run where nothing is said of them, and how hard Hypothesis tries."""

import os
import re
import signal
import sys
from pathlib import Path

# Where no bytecode may lie beside the sources, compiling every module of tests anew takes most of
# the time in which they are collected, in each worker, and every program that a test starts is
# compiled again; so it is kept with pytest's own cache. This comes before what it speeds up.
if sys.dont_write_bytecode:
    sys.dont_write_bytecode = False
    sys.pycache_prefix = str(Path(__file__).parents[1] / ".pytest_cache" / "bytecode")
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix

from hypothesis import HealthCheck, settings

TESTS = Path(__file__).parent
ON_DEMAND = ("measure", "network", "board")  # `-m` has to name them
ON_DEMAND_FOLDERS = ("measure", "board")  # where every test is marked so
SLOW_FOLDERS = ("processes", "scenarios", "systemd")
NOT_SLOW = "not slow"
SLOW_MODULE = re.compile(r"^pytestmark = pytest\.mark\.slow$", re.MULTILINE)
QUICK_EXAMPLES = 10  # where a property does not say how many it takes

# The same examples everywhere, and no clock: a busy machine must not fail a property.
settings.register_profile(
    "house", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile(
    "quick", parent=settings.get_profile("house"), max_examples=QUICK_EXAMPLES
)

# Whoever runs the tests in the background of a shell has Ctrl-C ignored, by every child as well.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_configure(config):
    settings.load_profile("quick" if NOT_SLOW in config.option.markexpr else "house")


def pytest_ignore_collect(collection_path, config):
    """Leave unread what would be left out whole: importing it takes longer than many a test."""
    asked, folder = config.option.markexpr, _folder_of(collection_path)
    if folder in ON_DEMAND_FOLDERS and folder not in asked:
        return True
    if asked != NOT_SLOW:
        return None
    is_slow_module = collection_path.suffix == ".py" and SLOW_MODULE.search(
        collection_path.read_text(encoding="utf-8")
    )
    return True if folder in SLOW_FOLDERS or is_slow_module else None


def pytest_collection_modifyitems(config, items):
    """Mark what is slow by its folder, and leave out what is run on demand only."""
    asked = config.option.markexpr
    left_out = [name for name in ON_DEMAND if name not in asked]
    chosen, others = [], []
    for item in items:
        if _folder_of(item.path) in SLOW_FOLDERS:
            item.add_marker("slow")
        is_left_out = any(item.get_closest_marker(name) for name in left_out)
        (others if is_left_out else chosen).append(item)
    if others:
        config.hook.pytest_deselected(items=others)
        items[:] = chosen


def _folder_of(path):
    """Return the folder of tests in which `path` lies, or which it is."""
    return path.relative_to(TESTS).parts[0] if path != TESTS else ""
