"""What a child may use, and that it is the first to go."""

import os
import subprocess
import sys

import pytest

BEGIN = (
    "import os; {} from etchwire.children.child_limits import *;"
    "limit_child(memory_mb=64, processor_s={});"
)
OWN_SCORE = "open('/proc/self/oom_score_adj')"


def child(program, processor_s=60, before=""):
    return subprocess.run(
        [sys.executable, "-c", BEGIN.format(before, processor_s) + program],
        capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_a_child_may_not_write_to_more_memory_than_it_was_given():
    done = child("bytearray(64 << 20)")

    assert "MemoryError" in done.stderr


def test_a_child_may_reserve_addresses_that_it_does_not_write_to():
    done = child("import mmap; mmap.mmap(-1, 1 << 30, prot=mmap.PROT_READ)")

    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.slow
def test_a_child_that_comes_to_no_end_is_ended():
    done = child("any(iter(int, 1))", processor_s=1)

    assert -done.returncode == 24  # SIGXCPU, signal(7)


@pytest.mark.parametrize(("before", "after"), [(0, 800), (500, 800), (900, 900)])
def test_a_child_goes_before_the_unit_it_belongs_to(before, after):
    program = f"{OWN_SCORE[:-1]}, 'w').write('{before}'); be_expendable(EXPENDABLE);"

    done = child(f"{program} print({OWN_SCORE}.read())")

    assert done.stdout.strip() == str(after), done.stderr


@pytest.mark.parametrize("nicer_by", [0, 5, 15])
def test_a_child_has_one_low_priority_whatever_that_of_its_unit(nicer_by):
    own = os.getpriority(os.PRIO_PROCESS, 0)  # 0, unless the tests themselves are put back

    done = child("print(os.getpriority(os.PRIO_PROCESS, 0))", before=f"os.nice({nicer_by});")

    assert int(done.stdout) == max(10, min(19, own + nicer_by)), done.stderr
