"""The processes of a practice session: which of them the processor serves first."""

import os
import subprocess
import sys

from etchwarden.practice_session.process_group import ProcessGroup

UNIT_NICE = -12  # `Nice=` of the daemon's unit


def nice_of(process_id):
    return os.getpriority(os.PRIO_PROCESS, process_id)


def may_be_served_first():
    lower = f"import os; os.setpriority(os.PRIO_PROCESS, 0, {UNIT_NICE})"
    return subprocess.run([sys.executable, "-c", lower], check=False, stderr=-1).returncode == 0


def test_machine_comes_before_others_where_that_is_allowed_and_the_page_never(tmp_path):
    with ProcessGroup(tmp_path) as group:
        group.start("machine", "machine", "--folder", str(tmp_path / "machine"))
        group.start("page", "page", "--folder", str(tmp_path / "page"))
        nices = {name: nice_of(process.pid) for name, process in group._processes.items()}

    ours = nice_of(0)
    is_first = UNIT_NICE < nices["machine"] < ours  # behind the daemon alone
    assert (is_first, nices["page"]) == (may_be_served_first(), ours)
