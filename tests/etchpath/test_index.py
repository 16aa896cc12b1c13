import hashlib
import json
from itertools import accumulate, pairwise

import numpy as np
import pytest

from etchpath.index import IndexBuilder, IndexEntry, write_index
from support.harnesses.gcode_bench import MACHINE, inspected, job_of

VECTORS = "G21G90\nM4S500F600\n" + "".join(
    f"G0X{n}Y{n}\nG91\nG1X5S{100 + n}\nY5\nG90\nX{n}Y{n}\n" for n in range(40)
)
GCODE = VECTORS + "M5\nM2\n"


def entries_of(gcode):
    builder = IndexBuilder()
    report = inspected(gcode, on_states=[builder.see_states], on_times=[builder.see_times])
    return builder.entries(), report


def test_the_entries_rise_and_are_never_far_apart_in_time():
    entries, report = entries_of(GCODE)

    times = np.array([0.0, *(entry.at_s for entry in entries), report.duration_s])
    assert np.all(np.diff(times) >= 0)
    longest_move_s = 7.1 / 10 + 0.1
    assert np.diff(times).max() < 1.0 + longest_move_s
    lines = [entry.line for entry in entries]
    assert lines == sorted(set(lines))


def test_each_entry_points_at_its_line_and_knows_where_the_head_is():
    entries, _ = entries_of(GCODE)

    data = GCODE.encode()
    for entry in entries:
        assert data[: entry.byte].count(b"\n") == entry.line - 1
        assert entry.byte == 0 or data[entry.byte - 1 : entry.byte] == b"\n"


def test_reading_on_from_any_entry_gives_the_same_end():
    entries, report = entries_of(GCODE)

    for entry in entries[:: max(1, len(entries) // 10)]:
        rest = inspected(modal_beginning(entry) + GCODE.encode()[entry.byte :])
        assert rest.bounds_mm["right_mm"] <= report.bounds_mm["right_mm"]
        assert rest.verdict == "ready" or {f.kind for f in rest.findings} == {
            "power kept in a rapid"
        }
        left_mm = report.beam_on_mm - rest.beam_on_mm
        assert left_mm >= -0.001


def modal_beginning(entry: IndexEntry) -> bytes:
    power = f"S{entry.power_s:g}" if entry.power_s is not None else ""
    feed = f"F{entry.feed_mm_per_min:g}" if entry.feed_mm_per_min is not None else ""
    start = f"G21G90\nG0X{entry.x_mm:.3f}Y{entry.y_mm:.3f}\n"
    return (
        start + f"G{entry.units}G{entry.distance}{feed}\nM{entry.spindle}{power}\nG{entry.motion}\n"
    ).encode()


def test_rows_of_our_own_jobs_have_entries_where_they_begin():
    gcode, sheet = job_of(np.ones((30, 40), dtype=bool))

    entries, _ = entries_of(gcode)

    by_line = {entry.line: entry for entry in entries}
    for row in sheet.index:
        assert by_line[row.line].byte == row.byte
        assert by_line[row.line].is_dark
        assert by_line[row.line].at_s == pytest.approx(row.at_s, abs=1e-6)


def test_the_written_index_has_every_entry_and_names_its_file(tmp_path):
    entries, report = entries_of(GCODE)
    path = tmp_path / "index.json"
    write_index(path, entries, gcode_sha256=report.gcode_sha256, has_reentry=True)

    table = json.loads(path.read_text())
    assert [IndexEntry(*values) for values in table["entries"]] == list(entries)
    assert table["columns"] == list(IndexEntry.__slots__)
    assert table["gcode_sha256"] == hashlib.sha256(GCODE.encode()).hexdigest()


@pytest.mark.slow
def test_the_index_is_the_same_however_the_file_is_cut_into_blocks():
    gcode = (GCODE * 200).encode()  # longer than a block
    assert len(gcode) > 256 * 1024

    entries, _ = entries_of(gcode)

    befores = [0, *(entry.byte for entry in entries)]
    lines = accumulate(gcode.count(b"\n", *piece) for piece in pairwise(befores))
    assert list(lines) == [entry.line - 1 for entry in entries]
    assert MACHINE.planner_blocks == 15


def test_an_arc_of_many_seconds_has_one_entry_at_its_start():
    entries, _ = entries_of("G21G90\nM4S500F60\nG0X50Y50\nG2X50Y50I-10J0\nG1X60\nM5\nM2\n")

    assert [entry.line for entry in entries] == [3, 4, 5]
