"""What a person reads when the child that works on a picture is ended."""

import os
import signal
import subprocess
import sys

import pytest

from etchweb.drafts.store import DRAFT_NAME
from etchweb.workers.work import NO_END, NO_MEMORY, WENT_WRONG, WorkQueue

pytestmark = pytest.mark.slow

PATIENCE_S = 60.0


@pytest.mark.parametrize(
    ("number", "sentence"),
    [(signal.SIGKILL, NO_MEMORY), (signal.SIGXCPU, NO_END), (signal.SIGSEGV, WENT_WRONG)],
)
def test_the_end_of_a_child_is_told_and_logged(tmp_path, caplog, number, sentence):
    os.mkfifo(tmp_path / DRAFT_NAME)  # the child waits for somebody to write the draft
    works = WorkQueue()
    work = works.begin(tmp_path, "take", "photo")
    writer = os.open(tmp_path / DRAFT_NAME, os.O_WRONLY)  # opens once the child reads

    os.kill(work.child.pid, number)

    assert work.over.wait(PATIENCE_S)
    os.close(writer)
    assert work.failed == sentence
    assert f"work on a picture (take) ended with {-number}" in caplog.text


@pytest.mark.parametrize("fills", ["bytes(1 << 28)", "cv2.resize(np.zeros((9, 9)), (9999, 9999))"])
def test_memory_that_runs_out_is_known_as_that(fills):
    program = f"""
import cv2, numpy as np
from etchweb.workers.process import _is_for_memory
from etchwire.children.child_limits import limit_memory
limit_memory(1 << 28)
try:
    {fills}
except Exception as error:
    print(_is_for_memory(error), _is_for_memory(ValueError("no")))
"""

    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )

    assert done.stdout == "True False\n", done.stderr
