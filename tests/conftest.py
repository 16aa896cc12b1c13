"""Which tests run where nothing is said of them, and how hard Hypothesis tries."""

import signal
import sys
from pathlib import Path

from hypothesis import HealthCheck, settings

ON_DEMAND = ("measure", "network", "board")  # `-m` has to name them
SLOW_FOLDERS = ("processes", "scenarios", "systemd")
NOT_SLOW = "not slow"
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

# Where no bytecode may lie beside the sources, compiling every module of tests anew takes most of
# the time in which they are collected, in each worker; so it is kept with pytest's own cache.
if sys.dont_write_bytecode:
    sys.dont_write_bytecode = False
    sys.pycache_prefix = str(Path(__file__).parents[1] / ".pytest_cache" / "bytecode")


def pytest_configure(config):
    settings.load_profile("quick" if NOT_SLOW in config.option.markexpr else "house")


def pytest_collection_modifyitems(config, items):
    """Mark what is slow by its folder, and leave out what is run on demand only."""
    slow = [Path(__file__).with_name(name) for name in SLOW_FOLDERS]
    asked = config.option.markexpr
    left_out = [name for name in ON_DEMAND if name not in asked]
    chosen, others = [], []
    for item in items:
        if any(folder in item.path.parents for folder in slow):
            item.add_marker("slow")
        is_left_out = any(item.get_closest_marker(name) for name in left_out)
        (others if is_left_out else chosen).append(item)
    if others:
        config.hook.pytest_deselected(items=others)
        items[:] = chosen
