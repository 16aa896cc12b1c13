"""The tidied copy of a file: what moves and burns is unchanged, and every line keeps its number.

What the firmware takes for a comment, a blank or a line number is from its documents and from
recordings of both kinds (13-lexical, 14-realtime-in-comment).
"""

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchpath.preflight.inspected import inspect_tidied
from etchpath.tidying import Tidying
from support.harnesses.gcode_bench import MACHINE, inspected, job_of, kinds_of, lines_of

START = "G21G90G17M4S500F1000\n"


def tidied(text, at_once=1 << 20):
    data = text if isinstance(text, bytes) else text.encode()
    tidying, out = Tidying(io.BytesIO(data)), b""
    while piece := tidying.read(at_once):
        out += piece
    return out, tidying


def copy_of(text):
    return tidied(text)[0]


def report_on(text):
    data = text if isinstance(text, bytes) else text.encode()
    return inspect_tidied(io.BytesIO(data), MACHINE)


@pytest.mark.parametrize(
    ("line", "copy"),
    [
        (b"G1 X1 Y2", b"G1X1Y2"),
        (b" g 1\tx 1 . 5 ", b"g1x1.5"),
        (b"(hello)", b""),
        (b"(hello", b""),
        (b"; hello (what?)", b""),
        (b"X1 (one) Y1", b"X1Y1"),
        (b"X1 (a;b) Y1", b"X1Y1"),
        (b"X1 ; (a) Y1", b"X1"),
        (b"X1 (stop! ~ \xc3\xa9)", b"X1"),
        (b"N10X1", b"X1"),
        (b"N0010 G1 X1", b"G1X1"),
        (b"n 1 0 x1", b"x1"),
        (b"N1.5X1", b"X1"),
        (b"%", b""),
        (b"", b""),
    ],
)
def test_what_neither_moves_nor_burns_goes(line, copy):
    assert copy_of(line + b"\nX2\n") == copy + b"\nX2\n"


@pytest.mark.parametrize(
    "line",
    [
        b"X1(a(b)c)",  # the first bracket closes it: the rest is no comment
        b")",
        b"X1?",
        b"X1!",
        b"X1~",
        b"X\xc3\xa91",
        b"\xef\xbb\xbfX1",  # a mark in mid-file is none
        b"X\x181",
        b"/X1",
        b"X1%Y1",
        b"%L",
        b"N1N2X1",
        b"N10000000X1",
        b"N-1X1",
        b"N11X1*50",
        b"$N0=G1X1",
    ],
)
def test_what_the_firmware_would_not_leave_out_stays_and_is_refused(line):
    report = report_on(START.encode() + line + b"\nM5\nM2\n")

    assert report.verdict == "refused"
    assert min(f.line for f in report.findings if f.severity == "refused" and f.line) == 2


# Lines of the recordings that both firmwares answered with ok, and where the head went in G91.
RECORDED = [
    (b"X1 (one) Y1", (1, 1)),
    (b"X1 ; Y1", (1, 0)),
    (b"X1 (a;b) Y1", (1, 1)),
    (b"X1 ; (a) Y1", (1, 0)),
    (b" G 1 X 1 . 5  Y - 1 F 3 0 0 0 ", (1.5, -1)),
    (b"G01X001.500", (1.5, 0)),
    (b"X+1", (1, 0)),
    (b"X.5Y1.", (0.5, 1)),
    (b"N10X1", (1, 0)),
    (b"X1 (what?) Y1", (1, 1)),
    (b"(go ~) X1", (1, 0)),
    (b"X1 ; wait! ok?", (1, 0)),
]


@pytest.mark.parametrize(("line", "to_mm"), RECORDED)
def test_a_recorded_line_goes_where_the_firmware_went(line, to_mm):
    report = report_on(b"G21G91G1F3000M4S1\nX5Y5\n" + line + b"\nM5\nM2\n")

    assert "refused" not in {finding.severity for finding in report.findings}
    ends = {"right_mm": max(5, 5 + to_mm[0]), "top_mm": max(5, 5 + to_mm[1])}
    assert report.bounds_mm == pytest.approx({"left_mm": 0, "bottom_mm": 0, **ends}, abs=0.01)


def test_a_mark_at_either_end_of_the_program_is_taken_out_and_what_follows_the_second_is_refused():
    whole = report_on(f"%\n{START}G1X5\nM5\nM2\n%\n\n(made today)\n")
    more = report_on(f"%\n{START}G1X5\nM5\nM2\n%\n(made today)\nG1X9\n")

    assert whole.verdict == "ready"
    refused = next(finding for finding in more.findings if finding.severity == "refused")
    assert (refused.kind, refused.line) == ("program mark", 8)
    assert "after the % that ends" in refused.reason


def test_a_mark_behind_code_ends_a_program_that_had_none_at_its_beginning():
    assert report_on(f"{START}G1X5\nM5\nM2\n%\n").verdict == "ready"
    assert "program mark" in kinds_of(report_on(f"{START}G1X5\n%\nG1X6\nM5\nM2\n"))


def test_a_byte_order_mark_and_any_line_ends_are_taken_out_and_lines_keep_their_numbers():
    text = f"{START}(a)\nG1X1?\n"
    for end in ("\n", "\r\n", "\r"):
        report = report_on(b"\xef\xbb\xbf" + text.replace("\n", end).encode())

        found = next(f for f in report.findings if f.kind == "real-time character")
        assert found.line == 3
        assert {"CRLF", "byte-order mark", "comment"}.isdisjoint(kinds_of(report))


def test_the_report_counts_the_lines_that_were_tidied_and_hashes_both():
    text = f"{START}(a)\nG1 X5\nG1X6\nM5\nM2\n".encode()

    report = report_on(text)

    assert report.tidied_lines == 2
    assert report.original_sha256 == inspected(text).gcode_sha256
    assert report.gcode_sha256 == inspected(copy_of(text)).gcode_sha256


def test_nobody_waits_for_what_is_not_sent():
    """Short moves that the line can carry, with so much beside them that it could not."""
    moves = [f"G1X{place / 10:.1f}" for place in range(1, 400)]
    plain = report_on(START + "F8000\n" + "\n".join(moves) + "\nM5\nM2\n")

    wordy = report_on(
        START + "F8000\n" + "\n".join(f"(no {m})\n{m:<60}; to\n" for m in moves) + "\nM5\nM2\n"
    )

    assert wordy.duration_s == pytest.approx(plain.duration_s, rel=1e-6)
    assert wordy.needed_bytes_per_s == pytest.approx(plain.needed_bytes_per_s, rel=1e-3)


@pytest.mark.parametrize("is_both_directions", [True, False])
def test_our_own_jobs_pass_byte_for_byte(is_both_directions):
    gcode, _ = job_of([[1, 0, 1], [0, 1, 1]] * 3, is_both_directions=is_both_directions)

    out, tidying = tidied(gcode)

    assert out == gcode
    assert tidying.tidied_lines == 0


FRAGMENTS = st.sampled_from(
    [b"G1X1", b"N5", b" ", b"\t", b"(", b")", b";", b"%", b"\r", b"\n", b"\r\n", b"?", b"\xc3",
     b"Y2.5", b"$", b"/", b"\xef\xbb\xbf", b"\0", b"S500"]
)  # fmt: skip


@given(st.lists(FRAGMENTS, max_size=40).map(b"".join), st.integers(1, 9))
def test_any_bytes_in_any_pieces_give_one_copy_which_is_tidy_and_has_as_many_lines(text, at_once):
    out, tidying = tidied(text)

    assert tidied(text, at_once)[0] == out
    assert out.count(b"\n") == text.replace(b"\r\n", b"\n").replace(b"\r", b"\n").count(b"\n")
    if b"%" not in out:
        again, once_more = tidied(out.replace(b"\xef\xbb\xbf", b""))
        assert again == out.replace(b"\xef\xbb\xbf", b"")
        assert once_more.tidied_lines == 0 or b"\xef\xbb\xbf" in out
    assert tidying.tidied_lines <= text.count(b"\n") + text.count(b"\r") + 1


@given(st.lists(FRAGMENTS, max_size=30).map(b"".join))
def test_what_is_ready_moves_and_burns_as_the_original_does(text):
    """Held against the reader, which leaves comments and blanks out by itself."""
    original = b"G21G91G1F600M4S9\n" + text.replace(b"%", b"").replace(b"\xef\xbb\xbf", b"") + b"\n"

    copy = report_on(original)
    read = inspected(original)

    if copy.verdict != "refused":
        assert (copy.bounds_mm, copy.burnt_mm) == (read.bounds_mm, read.burnt_mm)
        assert copy.beam_on_mm == read.beam_on_mm


def test_a_line_without_an_end_stays_what_it_is_however_long_it_gets():
    for filling in (b" ", b"(", b"G1X1"):
        report = report_on(START.encode() + b";" + filling * 200_000 + b"G1X5\nM5\nM2\n")

        assert report.bounds_mm is None or report.bounds_mm["right_mm"] < 5


def test_readline_gives_lines():
    tidying = Tidying(io.BytesIO(b"G1 X1\r\nG1 X2\r\n"))

    assert [tidying.readline(100) for _ in range(3)] == [b"G1X1\n", b"G1X2\n", b""]
    assert lines_of("G1X1").numbers is not None
