"""One daemon a folder of records: the second is refused before it touches anything."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from etchdaemon.assembly import DaemonPaths, run_daemon
from etchdaemon.errors import StateTaken
from etchdaemon.hardware.state_lock import LOCK_NAME, state_lock


def test_a_folder_is_taken_once_and_free_again_afterwards(tmp_path):
    with (
        state_lock(tmp_path),
        pytest.raises(StateTaken, match=f"another process \\({os.getpid()}\\)"),
        state_lock(tmp_path),
    ):
        pass

    with state_lock(tmp_path):
        pass


def test_a_process_that_died_lets_go(tmp_path):
    program = (
        "import os, sys; from pathlib import Path\n"
        "from etchdaemon.hardware.state_lock import state_lock\n"
        "state_lock(Path(sys.argv[1])).__enter__(); os.kill(os.getpid(), 9)"
    )
    subprocess.run([sys.executable, "-c", program, tmp_path], check=False)

    assert (tmp_path / LOCK_NAME).exists()
    with state_lock(tmp_path):
        pass


def test_a_folder_that_cannot_be_written_is_taken_without_a_lock(tmp_path, caplog):
    with state_lock(Path("/proc/self")):
        assert "cannot be locked" in caplog.text


def test_a_second_daemon_is_refused_before_it_touches_anything(tmp_path):
    places = DaemonPaths(port="/dev/null", socket=tmp_path / "s", state=tmp_path)

    with state_lock(tmp_path), pytest.raises(StateTaken, match="Stop it first"):
        run_daemon(places)

    assert [path.name for path in tmp_path.iterdir()] == [LOCK_NAME]
