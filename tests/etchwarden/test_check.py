import json

import numpy as np
import pytest
from click.testing import CliRunner

from etchwarden.commands.check import command
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from support.harnesses.gcode_bench import MACHINE, job_of

READY = "G21G90\nM4S500F1000\nG1X10\nM5\nM2\n"
LEFT_ON = "G21G90\nM3S500F1000\nG1X10\n"
SHIFTED = "G21G90\nM4S500F1000\nG92X5\nG1X10\nM5\nM2\n"


def check(*arguments):
    return CliRunner().invoke(command, [str(argument) for argument in arguments])


@pytest.fixture
def file_of(tmp_path):
    def write(text, name="file.gcode"):
        path = tmp_path / name
        path.write_text(text)
        return path

    return write


@pytest.mark.parametrize(
    ("text", "code", "verdict"),
    [(READY, 0, "ready"), (LEFT_ON, 1, "refused"), (SHIFTED, 3, "acknowledge")],
)
def test_only_a_ready_file_exits_with_zero(file_of, text, code, verdict):
    result = check(file_of(text), "--json")

    report = json.loads(result.output)
    assert (result.exit_code, report["verdict"]) == (code, verdict)
    assert {"findings", "duration_s", "bounds_mm", "beam_on_s"} <= report.keys()
    for finding in report["findings"]:
        assert {"line", "count", "text", "reason"} <= finding.keys()


def test_what_is_wrong_is_told_in_sentences(file_of):
    result = check(file_of(LEFT_ON))

    assert result.output.startswith("Refused.\n")
    assert "REFUSED - beam not switched off (line 3)" in result.output
    assert "End the file with M5 and M2." in result.output


def test_a_job_folder_is_checked_for_the_head_of_its_sheet(tmp_path):
    gcode, sheet = job_of(np.ones((3, 30)))
    (tmp_path / GCODE_NAME).write_bytes(gcode)
    (tmp_path / SHEET_NAME).write_text(sheet.to_json())

    report = json.loads(check(tmp_path, "--json").output)

    assert report["verdict"] == "ready"
    assert report["machine"] == MACHINE.to_table()
    assert report["duration_s"] == pytest.approx(sheet.predicted_s, abs=0.001)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"width_mm": 1e308}, "width_mm cannot be 1e+308"),
        ({"rows": 10**19}, "rows cannot be 10000000000000000000"),
    ],
)
def test_a_sheet_of_a_size_that_no_job_has_is_told(tmp_path, values, said):
    gcode, sheet = job_of(np.ones((3, 20), dtype=bool))
    (tmp_path / GCODE_NAME).write_bytes(gcode)
    (tmp_path / SHEET_NAME).write_text(json.dumps(json.loads(sheet.to_json()) | values))

    result = check(tmp_path)

    assert (result.exit_code, type(result.exception)) == (2, SystemExit)
    assert said in result.output


def test_a_machine_description_overrules_the_sheet(file_of, tmp_path):
    figures = MACHINE.to_table() | {"travel_x_mm": 5.0}
    costs = figures.pop("costs")
    lines = [f"{name} = {json.dumps(value)}" for name, value in figures.items()]
    lines += ["[costs]", *(f"{name} = {value}" for name, value in costs.items())]
    description = file_of("\n".join(lines), "machine.toml")

    result = check(file_of(READY), "--machine", description)

    assert result.exit_code == 1
    assert "outside the travel" in result.output


def test_picture_and_index_are_written_where_they_are_asked_for(file_of, tmp_path):
    picture, index = tmp_path / "path.png", tmp_path / "index.json"

    result = check(file_of(READY), "--picture", picture, "--index", index)

    assert result.exit_code == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert json.loads(index.read_text())["entries"]


@pytest.mark.parametrize(
    ("name", "text"),
    [("travel_x_mm = 'wide'", "lacks the entry"), ("nonsense", "no machine description")],
)
def test_a_bad_machine_description_is_told(file_of, name, text):
    result = check(file_of(READY), "--machine", file_of(name, "machine.toml"))

    assert result.exit_code == 2
    assert text in result.output
    assert "Traceback" not in result.output


def test_files_that_cannot_be_read_or_written_are_told_apart_from_refused_ones(file_of, tmp_path):
    results = [
        check(tmp_path / "absent.gcode"),
        check(tmp_path),
        check(file_of(READY), "--picture", tmp_path / "nowhere" / "path.png"),
    ]

    for result in results:
        assert result.exit_code == 2
        assert result.output.startswith("Error: ")


def test_a_broken_sheet_beside_the_file_is_told(file_of):
    file_of("{}", SHEET_NAME)

    result = check(file_of(READY, GCODE_NAME))

    assert result.exit_code == 2
    assert "job sheet" in result.output
