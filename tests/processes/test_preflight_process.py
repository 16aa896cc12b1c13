"""Preflight and re-entry as the daemon starts them: children of their own, with limits."""

import json

import numpy as np
import pytest

from etchdaemon.errors import JobRefused
from etchdaemon.hardware.rest_child import RestChild
from etchpath.foreign_job import write_foreign_job
from etchpractice.practice_head import PRACTICE_HEAD
from etchwire.children.child_process import Cause, ChildFailed, ChildProcess
from etchwire.children.child_program import PREFLIGHT
from etchwire.sheet import GCODE_NAME, SHEET_NAME, read_sheet
from support.harnesses.gcode_bench import MACHINE, inspected, job_of


def job_folder(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    gcode, sheet = job_of(np.ones((5, 40)))
    (folder / GCODE_NAME).write_bytes(gcode)
    (folder / SHEET_NAME).write_text(sheet.to_json())
    return folder, gcode


def preflight(gcode, machine=None):
    return ChildProcess(PREFLIGHT, {"job": str(gcode), "machine": machine}).run()


def test_the_child_answers_with_the_report(tmp_path):
    folder, gcode = job_folder(tmp_path)

    report = preflight(folder / GCODE_NAME)

    assert report == json.loads(inspected(gcode).to_json())


def test_a_child_without_memory_says_so_and_leaves_no_traceback(tmp_path, capfd):
    folder, _ = job_folder(tmp_path)

    with pytest.raises(ChildFailed, match=r"^The preflight failed: ") as failed:
        preflight(folder / GCODE_NAME, MACHINE.to_table() | {"planner_blocks": 10**9})

    assert failed.value.cause is Cause.FAILED
    assert capfd.readouterr().err == ""


def test_a_missing_file_is_a_sentence(tmp_path):
    with pytest.raises(ChildFailed, match=r"absent\.gcode: No such file"):
        preflight(tmp_path / "absent.gcode")


def test_the_rest_of_a_job_is_written_by_a_child(tmp_path):
    folder, _ = job_folder(tmp_path)
    rest = tmp_path / "rest"

    RestChild().write(folder, rest, row=2, x_mm=4.0)

    assert [entry.row for entry in read_sheet(rest).index] == [2, 3, 4]


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

    assert looked == written
    assert (looked.line, looked.gap_mm) == (8, pytest.approx(6.0, abs=0.05))
    assert inspected((rest / GCODE_NAME).read_bytes()).beam_on_mm == 10.0
    assert read_sheet(rest).is_foreign
    with pytest.raises(JobRefused, match="No re-entry: the record of the cut cannot be read"):
        RestChild().resume_file(folder, None, cut={})


def test_where_there_is_no_rest_the_child_says_why(tmp_path):
    folder, _ = job_folder(tmp_path)

    with pytest.raises(JobRefused, match=r"^No re-entry: nothing is left to etch"):
        RestChild().write(folder, tmp_path / "rest", row=9, x_mm=4.0)
