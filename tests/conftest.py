"""Which tests run where nothing is said of them, and how hard Hypothesis tries."""

import gc
import os
import re
import shutil
import signal
import sys
import tempfile
from collections import defaultdict
from functools import cache
from itertools import chain
from operator import itemgetter
from pathlib import Path

# Where no bytecode may lie beside the sources, compiling every module of tests anew takes most of
# the time in which they are collected, in each worker, and every program that a test starts is
# compiled again; so it is kept with pytest's own cache. This comes before what it speeds up.
if sys.dont_write_bytecode:
    sys.dont_write_bytecode = False
    sys.pycache_prefix = str(Path(__file__).parents[1] / ".pytest_cache" / "bytecode")
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix

# A large array is memory that the kernel has to clear, each time anew where it was given back.
os.environ.setdefault("MALLOC_MMAP_THRESHOLD_", str(32 << 20))
os.environ.setdefault("MALLOC_TRIM_THRESHOLD_", str(256 << 20))

# As the command says (`etchwarden.__main__`), for tests that call what it calls.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings

pytest_plugins = ("support.harnesses.browser_fixtures",)

TESTS = Path(__file__).parent
ON_DEMAND = ("measure", "network", "board")  # `-m` has to name them
ON_DEMAND_FOLDERS = ("measure", "board")  # where every test is marked so
SLOW_FOLDERS = ("processes", "browser", "scenarios", "systemd")
NOT_SLOW = "not slow"
SLOW_MODULE = re.compile(r"^pytestmark = \[?pytest\.mark\.slow\b", re.MULTILINE)
MADE_FOR_MODULE = 'scope="module"'
QUICK_EXAMPLES = 10  # where a property does not say how many it takes

# Most of what tests wait for is a disk that shall keep what was given to it, and none of them can
# tell whether it did; so what they write stays in memory where there is room.
IN_MEMORY = Path("/dev/shm")
LEAST_ROOM_BYTES = 4_000_000_000

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


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Let a worker take a whole file, so that what is made for a module or kept is made once.

    Of the slow folders it takes one test, unless something is made for the test's module.
    """
    from xdist.scheduler import LoadScopeScheduling  # noqa: PLC0415  not there without xdist

    class FilesAndSlowTests(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            return _work_of(nodeid, config.rootpath)

    config.option.loadscopereorder = False  # the order is that of `pytest_collection_modifyitems`
    return FilesAndSlowTests(config, log)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config):
    """Start two workers a core where slow tests run: they wait for half of their time."""
    cores = len(os.sched_getaffinity(0))
    return cores if config.option.markexpr == NOT_SLOW else 2 * cores


def pytest_configure(config):
    if "TMPDIR" not in os.environ and has_room(IN_MEMORY):
        tempfile.tempdir = os.environ["TMPDIR"] = str(IN_MEMORY)
    settings.load_profile("quick" if NOT_SLOW in config.option.markexpr else "house")


def pytest_ignore_collect(collection_path, config):
    """Leave unread what would be left out whole: importing it takes longer than many a test."""
    asked, folder = config.option.markexpr, _folder_of(collection_path)
    if folder in ON_DEMAND_FOLDERS and folder not in asked:
        return True
    if asked != NOT_SLOW:
        return None
    is_slow_module = collection_path.suffix == ".py" and SLOW_MODULE.search(
        _text_of(collection_path)
    )
    return True if folder in SLOW_FOLDERS or is_slow_module else None


def pytest_collection_modifyitems(config, items):
    """Mark what is slow by its folder, and leave out what is run on demand only.

    What is slow is spread over the run folder by folder, so that while some tests wait others
    compute; the rest comes last, so that in the end no worker is left with a long one alone.
    """
    asked = config.option.markexpr
    left_out = {name for name in ON_DEMAND if name not in asked}
    slow, quick, others = defaultdict(list), [], []
    for item in items:
        folder = _folder_of(item.path)
        if folder in SLOW_FOLDERS:
            item.add_marker("slow")
        marks = {mark.name for mark in item.iter_markers()}
        if not left_out.isdisjoint(marks):
            others.append(item)
        elif "slow" in marks:
            slow[folder].append(item)
        else:
            quick.append(item)
    if others:
        config.hook.pytest_deselected(items=others)
    placed = chain.from_iterable(_spread(some, config.rootpath) for some in slow.values())
    items[:] = [item for _, item in sorted(placed, key=itemgetter(0))] + quick


def pytest_collection():
    gc.disable()  # hardly anything of what is made here is for the collector


def pytest_collection_finish():
    """Spare the garbage collector what was collected: it would go through all of it each time."""
    gc.enable()
    gc.collect()
    gc.freeze()


def has_room(folder):
    return os.access(folder, os.W_OK) and shutil.disk_usage(folder).free > LEAST_ROOM_BYTES


def _spread(items, root):
    """Yield each item and its place in the run, 0 to 1: a folder's works lie evenly in between."""
    works = list(dict.fromkeys(_work_of(item.nodeid, root) for item in items))
    places = {work: at / len(works) for at, work in enumerate(works)}
    for item in items:
        yield places[_work_of(item.nodeid, root)], item


def _work_of(nodeid, root):
    """Return what a worker takes at once with this test: the test alone, or its file."""
    file = nodeid.partition("::")[0]
    path = root / file
    is_alone = _folder_of(path) in SLOW_FOLDERS and MADE_FOR_MODULE not in _text_of(path)
    return nodeid if is_alone else file


@cache
def _text_of(path):
    return path.read_text(encoding="utf-8")


@cache
def _folder_of(path):
    """Return the folder of tests in which `path` lies, or which it is."""
    return path.relative_to(TESTS).parts[0] if path != TESTS else ""


@pytest.fixture
def fonts():
    """Skip where no font is to be had, except in CI: there it is a failure."""
    from etchphoto.lettering.fonts import FREE_FAMILY, found_fonts  # noqa: PLC0415  most need none

    if "DejaVu Sans" not in found_fonts() and not os.environ.get("CI"):
        pytest.skip(f"needs fonts, which are not installed: {FREE_FAMILY}")
