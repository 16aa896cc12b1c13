"""Preflight and re-entry as the daemon starts them: children of their own, with limits."""

import json
import subprocess
import sys

import numpy as np
import pytest

from etchdaemon.errors import JobRefused
from etchdaemon.hardware.rest_child import RestChild
from etchpath.foreign_job import write_foreign_job
from etchpath.index import read_index
from etchpractice.practice_head import PRACTICE_HEAD
from etchwire.sheet import GCODE_NAME, SHEET_NAME, read_sheet
from support.harnesses.gcode_bench import MACHINE, inspected, job_of


def child(module, *arguments):
    command = [sys.executable, "-m", f"etchpath.{module}", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def job_folder(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    gcode, sheet = job_of(np.ones((5, 40)))
    (folder / GCODE_NAME).write_bytes(gcode)
    (folder / SHEET_NAME).write_text(sheet.to_json())
    return folder, gcode


def test_the_child_prints_the_report_and_writes_what_is_asked_for(tmp_path):
    folder, gcode = job_folder(tmp_path)
    index, picture = tmp_path / "index.json", tmp_path / "path.png"

    done = child("preflight.process", folder / GCODE_NAME, "--index", index, "--picture", picture)

    assert (done.returncode, done.stderr) == (0, "")
    report = json.loads(done.stdout)
    assert report == json.loads(inspected(gcode).to_json())
    assert read_index(index, report["gcode_sha256"]).has_reentry
    assert picture.exists()


def test_a_child_without_memory_says_so_and_leaves_no_traceback(tmp_path):
    folder, _ = job_folder(tmp_path)
    machine = tmp_path / "machine.json"
    machine.write_text(json.dumps(MACHINE.to_table() | {"planner_blocks": 10**9}))

    done = child("preflight.process", folder / GCODE_NAME, "--machine", machine)

    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("The preflight failed: ")
    assert "Traceback" not in done.stderr


def test_a_missing_file_is_a_sentence(tmp_path):
    done = child("preflight.process", tmp_path / "absent.gcode")

    assert done.returncode == 1
    assert "absent.gcode" in done.stderr


def test_the_rest_of_a_job_is_written_by_a_child(tmp_path):
    folder, _ = job_folder(tmp_path)
    rest = tmp_path / "rest"

    done = child("reentry.process", folder, rest, "--row", 2, "--x-mm", 4)

    assert (done.returncode, done.stderr) == (0, "")
    assert [entry.row for entry in read_sheet(rest).index] == [2, 3, 4]


def test_the_rest_of_another_file_is_written_by_a_child(tmp_path):
    (tmp_path / "file.gcode").write_text("G21G91\nM4S500F1000\nG1X10\nX10\nM5\nM2\n")
    rest = tmp_path / "rest.gcode"

    done = child("reentry.process", tmp_path / "file.gcode", rest, "--line", 4)

    assert (done.returncode, done.stderr) == (0, "")
    assert inspected(rest.read_bytes()).beam_on_mm == 10.0


# A cut 4 mm into the second of three strokes, seen where it was, with nothing further sent.
STROKES = "G21G90G94\nM4S0\nF600\n" + "".join(f"G0X5Y{y}\nG1X15S500\n" for y in (5, 7, 9))
CUT = {
    "seen": [[9.0, 7.0, 0.0, 0.0]],
    "rest": [9.5, 7.0, 0.0, 0.0],
    "answered_at_cut": 9,
    "answered": 9,
    "planner_blocks": 15,
    "fastest_percent": 100,
}


def test_the_rest_of_another_programs_job_is_looked_for_and_written_by_a_child(tmp_path):
    source, folder, rest = (tmp_path / name for name in ("file.nc", "job", "rest"))
    source.write_text(STROKES + "M5\nG0X0Y0\nM2\n")
    folder.mkdir()
    write_foreign_job(source, folder, head=PRACTICE_HEAD, surface="an invented tile")

    looked = RestChild().resume_file(folder, None, cut=CUT)
    written = RestChild().resume_file(folder, rest, cut=CUT)

    assert looked == written == {"line": 8, "gap_mm": pytest.approx(6.0, abs=0.05)}
    assert inspected((rest / GCODE_NAME).read_bytes()).beam_on_mm == 10.0
    assert read_sheet(rest).is_foreign
    with pytest.raises(JobRefused, match="No re-entry: the record of the cut cannot be read"):
        RestChild().resume_file(folder, None, cut={})


def test_where_there_is_no_rest_the_child_says_why(tmp_path):
    folder, _ = job_folder(tmp_path)

    done = child("reentry.process", folder, tmp_path / "rest", "--row", 9, "--x-mm", 4)

    assert done.returncode == 1
    assert done.stderr.startswith("No re-entry: nothing is left to etch")
