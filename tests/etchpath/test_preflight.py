import io
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etchpath.language.blocks import Blocks
from etchpath.preflight import Inspection
from etchpath.preflight.kind import Severity
from etchpath.preflight.policy import KINDS
from etchwire.controller.profile import THIRTY_TWO_BIT
from support.harnesses.gcode_bench import inspected, job_of, kinds_of, machine
from support.samples.any_gcode import any_files, report_of

BEGIN = "G21G90\nM4S500F1000\n"
END = "M5\nM2\n"
ETCH = "G1X10\n"

# A file for every kind of finding: what it is, and the line that the finding names.
FILES = {
    "empty": ("\n(nothing)\n", None),
    "not text": ("G1X1\n\0\n", 1),
    "byte-order mark": ("\xef\xbb\xbf" + BEGIN + ETCH + END, 1),
    "real-time character": (BEGIN + ETCH + "(what?)\n" + END, 4),
    "cut short": (BEGIN + ETCH + "M5\nM2", 5),
    "CRLF": ((BEGIN + ETCH + END).replace("\n", "\r\n"), 1),
    "comment": (BEGIN + "G1X10 (a line)\n" + END, 3),
    "odd comment": (BEGIN + "G1X10 (a line\n" + END, 3),
    "block delete": (BEGIN + ETCH + "/G1X20\n" + END, 4),
    "line too long": (BEGIN + "G1X" + "0" * 10_000 + "\n" + END, 3),
    "line fills the buffer": (BEGIN + "G1X1(" + "a" * 200 + ")\n" + END, 3),
    "program mark": ("%\n" + BEGIN + ETCH + END, 1),
    "no program end": (BEGIN + ETCH + "M5\n", 4),
    "after the end": (BEGIN + ETCH + END + "G0X1\n", 6),
    "unreadable word": (BEGIN + ETCH + "G1X\n" + END, 4),
    "unknown word": (BEGIN + ETCH + "A1\n" + END, 4),
    "extruder word": (BEGIN + ETCH + "E1\n" + END, 4),
    "checksum": (BEGIN + ETCH + "G1X1*50\n" + END, 4),
    "unsupported code": (BEGIN + ETCH + "G64\n" + END, 4),
    "repeated word": (BEGIN + "G1X1X2\n" + END, 3),
    "two of a group": (BEGIN + "G0G1X1\n" + END, 3),
    "missing value": (BEGIN + ETCH + "G4\n" + END, 4),
    "unused word": (BEGIN + "G1X10I1\n" + END, 3),
    "negative value": (BEGIN + ETCH + "S-1\n" + END, 4),
    "number too large": (BEGIN + ETCH + "G1X" + "9" * 39 + "\n" + END, 4),
    "line number": ("N99999999\n" + BEGIN + ETCH + END, 1),
    "no axis word": (BEGIN + "G2I1J1\n" + END, 3),
    "two uses of the axes": (BEGIN + "G92G1X1\n" + END, 3),
    "no motion mode": (BEGIN + ETCH + "G80\nX1\n" + END, 5),
    "arc without centre": (BEGIN + "G2X1Y1\n" + END, 3),
    "arc not closed": (BEGIN + "G2X10Y10I5J9\n" + END, 3),
    "radius too small": (BEGIN + "G2X10Y10R1\n" + END, 3),
    "no feed": ("G21G90\nM4S500\nG1X10\n" + END, 3),
    "setting": (BEGIN + ETCH + "$32=0\n" + END, 4),
    "memory writing": (BEGIN + ETCH + "G10L20P1X0\n" + END, 4),
    "other plane": ("G18\n" + BEGIN + ETCH + END, 1),
    "inverse time": (BEGIN + "G93G1X10F2\n" + END, 3),
    "probing": (BEGIN + ETCH + "G38.2X20\n" + END, 4),
    "tool length": (BEGIN + ETCH + "G43.1Z1\n" + END, 4),
    "tool change": (BEGIN + ETCH + "T1M6\n" + END, 4),
    "tool word": ("T1\n" + BEGIN + ETCH + END, 1),
    "z move": (BEGIN + ETCH + "G0Z5\n" + END, 4),
    "z word": (BEGIN + "G0Z0\n" + ETCH + END, 3),
    "pause": (BEGIN + ETCH + "M0\n" + END, 4),
    "another origin": ("G55\n" + BEGIN + ETCH + END, 1),
    "machine move": (BEGIN + ETCH + "G53G0X0\n" + END, 4),
    "origin shift": (BEGIN + "G92X5\n" + ETCH + END, 3),
    "too many origins": (BEGIN + "G92.1\nG1X1\n" * 200 + END, 203),
    "coolant": ("M8\n" + BEGIN + ETCH + END, 1),
    "mist": ("M7\n" + BEGIN + ETCH + END, 1),
    "inches": ("G20\nM4S500F100\nG1X1\n" + END, 1),
    "outside the travel": (BEGIN + "G1X10Y-1\n" + END, 3),
    "feed above the limit": (BEGIN + "G1X10F12000\n" + END, 3),
    "power above the most": (BEGIN + "G1X10S1001\n" + END, 3),
    "power never set": ("G21G90\nM4\nG1X10F1000\n" + END, 3),
    "nothing is etched": ("G21G90\nG1X10F1000\n" + END, None),
    "power in a rapid": (BEGIN + ETCH + "G0X20S300\n" + END, 4),
    "power kept in a rapid": (BEGIN + ETCH + "G0X20\n" + END, 4),
    "constant power": ("G21G90\nM3S500F1000\n" + ETCH + "S0\n" + END, 3),
    "beam on at standstill": ("G21G90\nG1F1000\nM3S500\nX10\n" + END, 3),
    "beam not switched off": (BEGIN + ETCH, 3),
    "line too slow": (  # its first 64 pieces set out from rest and keep up
        BEGIN + "F9000\n" + "".join(f"G1X{n / 7:.9f}Y0\n" for n in range(400)),
        69,
    ),
    "controller too slow": (BEGIN + "G91G1F9000\n" + "X.01\n" * 2000 + END, None),
    "feed not reached": (BEGIN + "G91G1F9000\n" + "X.1\n" * 200 + END, None),
}
MANY_BLOCKS = machine(planner_blocks=100, costs=THIRTY_TWO_BIT.costs)


def test_every_kind_of_finding_has_a_file_here():
    assert FILES.keys() == KINDS.keys()


@pytest.mark.parametrize("kind", FILES)
def test_every_kind_is_found_where_it_stands(kind):
    text, line = FILES[kind]

    report = inspected(text.encode("latin-1"), MANY_BLOCKS)

    found = {finding.kind: finding for finding in report.findings}
    assert found[kind].line == line
    assert found[kind].severity == KINDS[kind].severity
    assert found[kind].reason.endswith(".")


def test_a_plain_file_is_ready_and_nothing_is_found():
    report = inspected(BEGIN + ETCH + END)

    assert (report.verdict, report.findings) == ("ready", ())


def test_our_own_job_is_ready_and_lasts_as_its_sheet_says():
    gcode, sheet = job_of(np.random.default_rng(3).random((60, 300)) < 0.4)

    report = inspected(gcode)

    assert report.verdict == "ready"
    assert report.duration_s == pytest.approx(sheet.predicted_s, abs=0.001)
    assert report.gcode_sha256 == sheet.gcode_sha256
    assert report.lines == sheet.gcode_lines
    assert report.bounds_mm["right_mm"] == pytest.approx(sheet.motion.right_mm, abs=0.007)
    assert report.beam_on_mm == pytest.approx(sheet.coverage * 60 * 30, abs=0.01)


@pytest.mark.parametrize(
    ("kind", "given", "severity"),
    [
        ("constant power", "has_heartbeat_contact", Severity.ACKNOWLEDGE),
        ("beam on at standstill", "has_heartbeat_contact", Severity.ACKNOWLEDGE),
        ("coolant", "can_coolant_switch_extraction", Severity.REFUSED),
    ],
)
def test_some_findings_depend_on_what_the_machine_has(kind, given, severity):
    report = inspected(FILES[kind][0], machine(**{given: True}))

    assert {f.kind: f.severity for f in report.findings}[kind] == severity


@pytest.mark.parametrize(
    "middle",
    ["G4P2\n", "M0\n", "M8\n", "S300\n", "G1\n"],
    ids=["dwell", "pause", "coolant", "change of power", "no move"],
)
def test_constant_power_that_meets_a_head_at_rest_is_found(middle):
    report = inspected("G21G90\nM3S500F1000\nG1X10\n" + middle + "X20\nS0\n" + END)

    assert {f.kind: f.line for f in report.findings}["beam on at standstill"] == 4


def test_dynamic_power_may_dwell():
    report = inspected(BEGIN + ETCH + "G4P2\nX20\n" + END)

    assert report.verdict == "ready"
    assert report.duration_s == pytest.approx(
        2 + 2 * inspected(BEGIN + ETCH + END).duration_s, abs=0.002
    )


def test_a_finding_counts_all_its_lines_and_names_the_first():
    report = inspected(BEGIN + ETCH + "G1Y-1\nG1Y5\nG1Y-2\n" + END)

    (finding,) = report.findings
    assert (finding.line, finding.count, finding.text) == (4, 2, "G1Y-1")


def test_the_origin_decides_what_is_outside():
    shifted = machine(origin_x_mm=100.0, origin_y_mm=100.0)

    assert inspected(BEGIN + "G1X-99Y-99\n" + END, shifted).verdict == "ready"
    assert "outside the travel" in kinds_of(inspected(BEGIN + "G1X301\n" + END, shifted))


def test_an_axis_may_be_slower_than_the_other():
    lame = machine(max_feed_y_mm_per_min=500.0)

    assert inspected(BEGIN + "G1X10F2000\n" + END, lame).verdict == "ready"
    assert "feed above the limit" in kinds_of(inspected(BEGIN + "G1Y10F2000\n" + END, lame))


@pytest.mark.parametrize(
    ("asked", "mean", "share"), [(4000, 2265, 0.0), (8000, 2265, 0.0), (2000, 2000, 1.0)]
)
def test_fine_detail_runs_at_the_speed_of_the_firmware_image(asked, mean, share):
    # single dots of 0.1 mm: cycle-accurate run of the firmware image, see test_line_intake
    begin = "G21G90\nM4S0\nG1X10F8000\nG91\nS500\n"
    report = inspected(begin + f"X.1F{asked}\n" + "X.1S500\n" * 2000 + "X10S0\n" + END)

    assert report.beam["mean_mm_per_min"] == pytest.approx(mean, rel=0.03)
    assert report.beam["share_at_asked"] == pytest.approx(share, abs=0.01)
    assert 2265 <= report.beam["useful_mm_per_min"] < 2500  # F2400 ran full, F2500 starved


def test_dynamic_power_keeps_the_energy_of_a_millimetre_and_constant_power_does_not():
    for word, energy in (("M4", 0.5 / (8000 / 60)), ("M3", 0.5 / (2265 / 60))):
        text = f"G21G90\n{word}S0\nG1X10F8000\nG91\n" + "X.1S500\n" * 2000 + "X10S0\n" + END
        report = inspected(text)
        assert report.beam["full_power_s_per_mm"] == pytest.approx(energy, rel=0.03)


def test_a_file_too_dense_for_the_serial_line_lasts_as_long_as_its_bytes():
    text = BEGIN + "F9000\n" + "".join(f"G1X{n / 8:.9f}Y0\n" for n in range(2000)) + END

    report = inspected(text, MANY_BLOCKS)

    assert report.needed_bytes_per_s > report.carried_bytes_per_s == 11520
    assert report.duration_s == pytest.approx(len(text) / 11520, rel=0.02)


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_end_in_a_report(data):
    report = inspected(data)

    assert report.verdict in {"ready", "acknowledge", "refused"}
    assert json.loads(report.to_json())["gcode_bytes"] == len(data)


WORDS = (
    "G0 G1 G2 G3 G4P1 G20 G90 G91 G92 G92.1 G80 M3 M4 M5 M2 X1 X-2.5 Y3 Y1e9 I1 J-1 R4 S9 F100"
    " F0 ( ) ; % / ? N5 Z1 X99999999999999999999"
)
FRAGMENT = st.sampled_from([*WORDS.split(), "\n", "\n", "\n", "\r", "\r\n", " ", "\xff"])


@pytest.mark.slow
@settings(max_examples=400, deadline=None)
@given(st.lists(FRAGMENT, max_size=60).map("".join))
def test_any_words_in_any_order_end_in_a_report(text):
    report = inspected(text.encode("latin-1"))

    assert report.verdict in {"ready", "acknowledge", "refused"}
    json.loads(report.to_json())


@pytest.mark.slow
@pytest.mark.parametrize("part", range(4))
def test_words_of_the_language_and_damaged_jobs_end_in_a_report_of_figures_only(part):
    # tests/measure/any_gcode_test.py plays a hundred thousand of them
    for data, of_machine in any_files(seed=part, number=150):
        report = report_of(data, of_machine)

        assert report["verdict"] in {"ready", "acknowledge", "refused"}
        assert report["gcode_bytes"] == len(data)


def test_a_feed_in_a_line_that_is_refused_moves_nothing_behind_it():
    report = inspected("G21G90\nM4S500\nF1000R1\nG1X10\nG1X20F600\n" + END)

    found = {finding.kind: finding for finding in report.findings}
    assert (found["unused word"].line, found["no feed"].line, found["no feed"].count) == (3, 4, 1)
    assert report.beam["asked_mm_per_min"] == 600.0


def test_a_line_behind_a_refused_one_is_judged_by_what_the_controller_still_holds():
    report = inspected(BEGIN + ETCH + "G2\nX20\nG3R1\nX30\n" + END)

    assert kinds_of(report) == {"no axis word"}
    assert report.bounds_mm["right_mm"] == 30.0


def test_every_line_without_a_feed_is_counted():
    report = inspected("G21G90\nM4S500\n" + "G1X10\nG1X20\n" * 1000 + END)

    assert {f.kind: f.count for f in report.findings}["no feed"] == 2000


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-32"])
def test_text_in_wide_letters_is_not_taken_for_g_code(encoding):
    report = inspected((BEGIN + ETCH + END).encode(encoding))

    assert report.verdict == "refused"
    assert "not text" in kinds_of(report)


def test_what_is_shown_of_a_line_is_short_and_printable():
    report = inspected(BEGIN.encode() + b"X" + b"\x07\x1b[31m" * 500 + b"\n")

    for finding in report.findings:
        assert len(finding.text) <= 83
        assert finding.text.isprintable()


MIXED = (
    "G21G90\nM4S500F3000\nG0X5Y5\nG1X20\nG2X30I5J0\nG1Y30\nG91\n"
    + "X.1\nX.1S0\nX.1S700\n" * 20
    + "G4P.5\nG90G1X5Y5\nM3S0\nG1X20\nG92.1\nG3X10Y10R1\nX5Y5 (a)\nM5\nG0X0Y0\nM2\n"
)


@pytest.mark.slow
@pytest.mark.parametrize("block_bytes", [1, 7, 40, 300])
def test_a_file_cut_into_blocks_anywhere_has_the_same_report(block_bytes):
    inspection = Inspection(machine())

    for block in Blocks(io.BytesIO(MIXED.encode()), block_bytes=block_bytes):
        inspection.see_block(block)

    # only the name and size of the file are not known to it
    table = inspection.report().to_table()
    whole = inspected(MIXED).to_table()
    assert table["findings"] == whole["findings"]
    alike = {name for name in table if table[name] == whole[name]}
    differing = {name for name in table.keys() - alike if table[name] != pytest.approx(whole[name])}
    assert differing <= {"gcode_bytes", "gcode_sha256", "needed_bytes_per_s"}


def test_a_finding_after_a_dropped_origin_names_its_own_line():
    report = inspected(BEGIN + ETCH + "G92.1\nG1X5\nG2X10Y10R1\n" + END)

    assert {f.kind: f.line for f in report.findings}["radius too small"] == 6


def test_what_is_etched_reaches_from_the_first_stroke_to_the_last():
    report = inspected(BEGIN + "G0X10Y20\nG1X30\nY25\nG0X0Y0\n" + END)

    sides = {"left_mm": 10.0, "bottom_mm": 20.0, "right_mm": 30.0, "top_mm": 25.0}
    assert report.burnt_mm == sides
    assert report.bounds_mm == sides | {"left_mm": 0.0, "bottom_mm": 0.0}


@pytest.mark.parametrize(
    ("text", "has_reentry"),
    [
        (BEGIN + ETCH + END, True),
        (FILES["no program end"][0], True),
        (FILES["origin shift"][0], False),
        (FILES["constant power"][0], False),
    ],
)
def test_a_job_that_shifts_its_origin_or_is_refused_has_no_reentry(text, has_reentry):
    assert inspected(text).has_reentry == has_reentry
