"""Files of general G-code writers and of people: each runs to its planned place or says why not.

One writer is for milling, one for 3D printing; the others are written by hand after the
firmware's documentation. The reason of a refusal is held against the practice controller.
"""

from contextlib import redirect_stderr, redirect_stdout
from io import StringIO

import pytest

from etchpath.errors import UnfitFile
from etchpath.foreign_job import write_foreign_job
from etchpractice.machine import PracticeMachine
from etchwire.catalogue.examples import PRACTICE_HEADS

HEAD = PRACTICE_HEADS["practice-20w"]
BESIDE_MM = 0.15

# Ten lines of 20 mm in a loop, in the little language of the milling writer.
LOOP = """
var x = 5.0
var y = 5.0
G21 G90 G94
G0 M4 S0
repeat 10:
    G0 X(x) Y(y)
    G1 X(x + 20.0) S600 F1500
    y = y + 0.5
end
G0 M5
G0 X0 Y0 M2
"""

FRAMED = b"""\xef\xbb\xbf%\r
(Gr\xc3\xbc\xc3\x9fe! Is it lit? ~10 mm)\r
N10 G20 G90 G94 G17\r
N20 M4 S0 ; ready?\r
N30 G0 X0.3937 Y0.3937\r
N40 G1 X0.7874 S500 F60\r
N50 G3 X0.7874 Y0.7874 I0 J0.19685 (half a circle)\r
N60 G1 X0.3937\r
N70 M5\r
N80 G0 X0 Y0\r
N90 M30\r
%\r
"""
RELATIVE = b"""g21 g91 g94
m4 s0
g0 x 10 y 10
g1 x 10 s 500 f 1200
y 10
x -10
y -10
s0
m5
g90 g0 x0 y0
m2
"""
RADIUS = b"""G21G90G94G17
M4S0
G0X10Y20
G2X20Y20R5S500F1000
G1Y10
M5
G0X0Y0
M2
"""

Y_OF_LOOP = [5.0 + 0.5 * line for line in range(10)]
RUNS = {
    "milling writer": (None, [(15.0, y) for y in Y_OF_LOOP], [(15.0, 4.5), (3.0, 7.0)]),
    "framed, in inches, with comments": (
        FRAMED, [(15.0, 10.0), (25.0, 15.0), (15.0, 20.0)], [(15.0, 15.0), (20.0, 15.0)],
    ),
    "small letters, relative": (
        RELATIVE, [(15.0, 10.0), (20.0, 15.0), (15.0, 20.0), (10.0, 15.0)], [(15.0, 15.0)],
    ),
    "an arc by its radius": (RADIUS, [(15.0, 25.0), (20.0, 15.0)], [(15.0, 15.0), (10.0, 15.0)]),
}  # fmt: skip

BEGIN, END = b"G21G90G94\nM4S0\n", b"M5\nM2\n"
# The line that may not run, what is said of it, and whether the controller refuses it as well.
REFUSED = {
    "extruder": (b"G1 F600 X9 E0.5", "extruder", True),
    "checksum": (b"N3 G1 X9*71", "checksum", True),
    "tool change": (b"M6 T1", "no tool to change", True),
    "open comment inside another": (b"G1 X9 (a (b) c)", "cannot read this line", True),
    "block delete": (b"/G1 X9 S100 F600", "slash", False),
    "a question in code": (b"G1 X9? S100 F600", "act at once", False),
    "behind the program's end mark": (b"%\n%\nG1 X9 S100 F600", "after the % that ends", False),
    "a fixed place": (b"G28", "fixed place", False),
    "another origin": (b"G55", "unknown origin", False),
    "constant power": (b"M3 S100\nG1 X9 F600", "full strength", False),
}  # fmt: skip


def _of_milling_writer(folder):
    from gCodeGen import gCodeGen  # noqa: PLC0415 - a library of the tests alone

    source, written = folder / "loop.txt", folder / "loop.nc"
    source.write_text(LOOP)
    with redirect_stdout(StringIO()), redirect_stderr(StringIO()):
        gCodeGen.generate(str(source), str(written))
    return written.read_bytes()


def _of_printing_writer(folder):
    from gcodepy.gcode import Gcode  # noqa: PLC0415 - a library of the tests alone

    written = folder / "spiral.gcode"
    writer = Gcode(str(written))
    writer.home()
    writer.zero_extruder()
    for delta in ((10, 0, 0), (0, 10, 0), (-10, 0, 0)):
        writer.draw(delta)
    writer.close()
    return written.read_bytes()


def _job(rig, text):
    source, folder = rig.folder / "given.nc", rig.folder / "given"
    source.write_bytes(text)
    folder.mkdir()
    sheet = write_foreign_job(source, folder, head=HEAD, surface="practice tile, white paint")
    return folder, sheet


def _light(rig, x_mm, y_mm):
    around = (x_mm - BESIDE_MM, y_mm - BESIDE_MM, x_mm + BESIDE_MM, y_mm + BESIDE_MM)
    return float(rig.machine.tile.exposure_j_per_mm2(around).max())


@pytest.mark.slow
@pytest.mark.parametrize("name", RUNS)
def test_it_burns_where_it_was_planned_and_nowhere_else(rig, name):
    text, lit_mm, dark_mm = RUNS[name]
    folder, sheet = _job(rig, _of_milling_writer(rig.folder) if text is None else text)

    rig.start(folder)
    rig.wait_for_the_end(within_s=120)

    assert rig.run.ended == "complete", rig.run.because
    assert min(_light(rig, *place) for place in lit_mm) > 0.1
    assert max(_light(rig, *place) for place in dark_mm) < 1e-6
    assert rig.shown_position() == pytest.approx((0.0, 0.0), abs=0.02)
    assert rig.run.elapsed_s == pytest.approx(sheet.predicted_s, rel=0.03, abs=1.0)
    assert not rig.port.written.translate(None, b"?").count(b"(")


def test_what_the_milling_writer_wrote_is_tidied_and_both_are_hashed_in_the_record(rig):
    text = _of_milling_writer(rig.folder)
    folder, sheet = _job(rig, text)

    rig.start(folder)

    assert text.startswith(b"N10 G21 \n")  # line numbers and blanks, by its nature
    assert sheet.original.tidied_lines == text.count(b"\n")
    assert sheet.original.sha256 in rig.record.sheet_json
    assert sheet.gcode_sha256 in rig.record.sheet_json
    assert rig.commands.snapshot().job.tidied_lines == text.count(b"\n")


def test_the_printing_writers_file_is_refused_for_what_it_is(rig):
    with pytest.raises(UnfitFile, match="extruder of a 3D printer"):
        _job(rig, _of_printing_writer(rig.folder))


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_run_is_refused_with_a_reason_that_is_true(rig, name):
    line, says, is_refused_there_too = REFUSED[name]

    with pytest.raises(UnfitFile, match=says) as refusal:
        _job(rig, BEGIN + line + b"\n" + END)

    first = 3 + line.count(b"\n")
    assert f"line {first}:" in str(refusal.value)
    assert _is_refused_by_controller(line) is is_refused_there_too


def _is_refused_by_controller(line):
    machine = PracticeMachine()
    machine.advance(2.0)
    machine.read()
    machine.write(BEGIN + line.replace(b"?", b"").split(b"\n")[-1] + b"\n")
    machine.advance(2.0)
    return b"error" in machine.read()
