import io
import itertools
import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from etchpath.language.blocks import Blocks
from etchpath.language.dialect import Event, Mode, Number
from etchpath.language.reader import read_block
from support.harnesses.examples import examples
from support.harnesses.gcode_bench import inspected, kinds_of, lines_of, machine
from support.samples.any_gcode import any_files
from support.samples.line_reader import read_line, significant

START = "G21G90G17\nF1000\nG0X0Y0\n"

# NISTIR 6556 (T. R. Kramer, F. M. Proctor, E. Messina, 17 August 2000), sections 3.3 to 3.8.
# `start` is where the line is read; what the controller does differently is named.
NIST_ACCEPTS = [
    ("G0X0Y0", "g0x +0. 12 34y 7", None),
    ("G0X0Y0", "N99999 G1 X1 F100", None),
    ("G1X0Y0", "X+.5", None),
    ("G1X0Y0", "X5.", None),
    ("G1X0Y0", "X-0.", None),
    ("G1X0Y0", "X007.50", None),
    ("G1X0Y0", "/G1 X1", "block delete"),  # the controller drops the slash and runs the line
    ("G1X0Y0", "G21 G90 G94 G17", None),
    ("G1X0Y0", "F4000 G1 X1", None),
    ("G1X0Y0", "G4 P1.5", None),
    ("G1X0Y0", "G4 P0", None),
    ("G1X0Y0", "S0 M3", None),
    ("G1X0Y0", "", None),
    ("G1X0Y0", "(a) G1 X1 (b)", None),
    ("G0X0Y0", "G2 X0 Y0 I5 J0", None),
    ("G0X7Y7", "G2 X10 Y16.001 I3 J4", None),
]
NIST_REJECTS = [
    ("G0X0Y0", "N000009 G1 X1", None),  # the controller counts no digits: it runs
    ("G0X0Y0", "N-1 G1 X1", "negative value"),
    ("G0X0Y0", "G1 X", "unreadable word"),
    ("G0X0Y0", "G1 X.", "unreadable word"),
    ("G0X0Y0", "G1 X1e3", "extruder word"),
    ("G0X0Y0", "G1 X1..2", "unreadable word"),
    ("G0X0Y0", "G0 G1 X1", "two of a group"),
    ("G0X0Y0", "G20 G21", "two of a group"),
    ("G0X0Y0", "M3 M4", "two of a group"),
    ("G0X0Y0", "G1 X1 X2", "repeated word"),
    ("G0X0Y0", "(a (b) c)", "unreadable word"),
    ("G0X0Y0", "G1 X1 (open", None),  # the controller drops the rest of the line: it runs
    ("G0X0Y0", "; text", None),  # a comment to the controller
    ("G0X0Y0", "G1", None),  # the controller only remembers the mode
    ("G0X0Y0", "G2 X10 Y10", "arc without centre"),
    ("G0X0Y0", "G2 I5 J0", "no axis word"),
    ("G0X0Y0", "G2 X0 Y0 R5", "radius too small"),
    ("G0X0Y0", "G2 X50 Y0 R20", "radius too small"),
    ("G0X7Y7", "G2 X10 Y16.003 I3 J4", None),  # the controller allows 0.005 mm (from memory)
    ("G0X0Y0", "G4 P-1", "negative value"),
    ("G0X0Y0", "S-1", "negative value"),
    ("G0X0Y0", "G93 G1 X1", "inverse time"),
    ("G0X0Y0", "G53 X1", "machine move"),
    ("G0X0Y0", "G80 X1", "no motion mode"),
    ("G0X0Y0", "X" + "1" * 256, "line too long"),
    ("G0X0Y0", "M0 M3 M6 M8 M48", "tool change"),
]
OF_THE_TEXT = {"comment", "odd comment", "real-time character", "block delete"}
HARMLESS = {"comment", "odd comment", "no program end", "nothing is etched", "power never set"}


@pytest.mark.parametrize(("start", "line", "kind"), NIST_ACCEPTS + NIST_REJECTS)
def test_each_line_of_the_report_is_judged_as_the_controller_would(start, line, kind):
    report = inspected(f"{START}{start}\n{line}\n", machine(origin_x_mm=100.0, origin_y_mm=100.0))

    found = kinds_of(report) - HARMLESS
    assert found == ({kind} if kind else set())


def test_blanks_may_stand_inside_numbers():
    lines = lines_of("g0x +0. 12 34y 7")

    assert lines.numbers[[Number.X, Number.Y], 0].tolist() == [0.1234, 7.0]
    assert lines.modes[Mode.MOTION, 0] == 0


# The controller's own rules, from its documents and measured on a host build of it.
@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("%", "program mark"),  # RS-274/NGC wants it round a file that has no M2
        ("$H", "setting"),
        ("$110=5000", "setting"),
        ("[ESP", "setting"),
        ("N10000000G1X1", "line number"),
        ("M6", "tool change"),
        ("M7", "mist"),
        ("M48", "unsupported code"),
        ("G64", "unsupported code"),
        ("G1.5X1", "unsupported code"),
        ("G38.2X1", "probing"),
        ("G10L2P1X0", "memory writing"),
        ("G28", "machine move"),
        ("G30.1", "memory writing"),
        ("G55", "another origin"),
        ("G18", "other plane"),
        ("G43.1Z1", "tool length"),
        ("G92", "no axis word"),
        ("G92G1X1", "two uses of the axes"),
        ("G4", "missing value"),
        ("G1X1P2", "unused word"),
        ("G1X1I2", "unused word"),
        ("G2X1Y0R1I1", "unused word"),
        ("G1X1Z1", "z move"),
        ("A1", "unknown word"),
        ("G1X1E.02", "extruder word"),
        ("N11X1*50", "checksum"),
        ("1G1", "unreadable word"),
        ("G1X1-2", "unreadable word"),
        ("G1X--2", "unreadable word"),
        ("G1X+", "unreadable word"),
        ("G1X1)", "unreadable word"),
        ("G1X1#", "unreadable word"),
        ("G1X1?", "real-time character"),
        ("G1X1(what!)", "real-time character"),
        ("G1X1;caf\xe9", "real-time character"),
        ("M0", "pause"),
        ("M1", "pause"),
    ],
)
def test_what_the_controller_refuses_or_a_job_must_not_do_is_named(line, kind):
    report = inspected((START + line + "\n").encode("latin-1"))

    finding = next(found for found in report.findings if found.kind == kind)
    assert report.verdict == "refused"
    assert finding.line == 4
    assert finding.reason


def test_seventy_nine_characters_pass_and_eighty_do_not():
    # measured: the 80th significant character brings error 11, 105 blanks and a comment pass
    line = "G1X1" + "0" * 75

    assert "line too long" not in kinds_of(inspected(START + line))
    assert "line too long" in kinds_of(inspected(START + line + "0"))
    assert "line too long" not in kinds_of(inspected(START + "G1X1" + " " * 105))


def test_the_32_bit_firmware_counts_blanks_and_comments_too():
    larger = machine(line_limit=256, line_limit_counts_all=True, receive_bytes=1024)

    assert "line too long" in kinds_of(inspected(START + "G1X1" + " " * 260, larger))
    assert "line too long" not in kinds_of(inspected(START + "G1X1" + " " * 250, larger))


def test_a_line_must_fit_into_the_receive_buffer_with_its_comment():
    line = "G1X1(" + "a" * 121 + ")"

    assert "line fills the buffer" in kinds_of(inspected(START + line))
    assert "line fills the buffer" not in kinds_of(inspected(START + line.replace("aa", "", 1)))


@pytest.mark.parametrize(
    ("line", "odd"),
    [("G1X1(a)(b)", False), ("G1X1(a", True), ("G1X1(a(b)", True), ("G1X1;(a", False)],
)
def test_only_comments_that_hide_something_are_called_odd(line, odd):
    assert ("odd comment" in kinds_of(inspected(START + line))) == odd


# The firmware's read_float: digits behind the eighth count as zeros before the dot, and not at
# all behind it; leading noughts are digits too (from memory).
@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("X123456789.5", 123456780.0),
        ("X1.23456789", 1.2345678),
        ("X000000012.5", 10.0),
        ("X-.000000019", -1e-8),
        ("X12345678.9", 12345678.0),
    ],
)
def test_numbers_keep_eight_digits_as_in_the_firmware(text, number):
    assert lines_of(text).numbers[Number.X, 0] == number
    assert read_line(text).numbers[Number.X] == number


LETTERS = "GGGMMXYSFIJRNPZTKLAEQ"
TEXTS = (
    "0 1 2 3 4 5 8 9 10 17 18 20 28 30 38.2 43.1 53 54 55 80 90 91 91.1 92 92.1 93 94 .5 1.25 . 1."
    " 1..2 007 123456789 1.5 12345678.9 1234567.89 .123456789 00000000.5 9999999 10000000"
)
NUMBERS = [*TEXTS.split(), "9" * 38, "9" * 39, "9" * 400, "0" * 60 + "1", "." + "0" * 60 + "1"]
WORD = st.builds(
    "{}{}{}".format,
    st.sampled_from(LETTERS),
    st.sampled_from(["", "", "", "-", "+", "--"]),
    st.sampled_from([*NUMBERS, ""]),
)
FAIR_WORD = st.builds(
    "{}{}".format, st.sampled_from(LETTERS), st.sampled_from([*TEXTS.split()[:24], "-1", "-0"])
)
LINE = st.one_of(st.lists(WORD, max_size=5), st.lists(FAIR_WORD, max_size=5)).map("".join)
NOISE = st.text(st.sampled_from("GXY1.-+[;%$*E"), max_size=8)
ENDLESS = machine(line_limit=10**6, receive_bytes=10**6)


def reading_at(lines, place):
    """What a block gave for one line, as the reader of single words puts it."""
    kinds = {remark.kind for remark in lines.remarks if place in remark.lines}
    columns = lines.numbers[:, place], lines.modes[:, place].tolist(), int(lines.events[place])
    return str(columns[0].tolist()), *columns[1:], kinds


def read_singly(text):
    numbers, modes, events, kinds = read_line(text) if text else read_line("F1")
    if not text:
        return str([math.nan] * len(numbers)), modes, events, set()
    return str([float(number) for number in numbers]), modes, events, set(kinds)


@examples(400)
@given(st.lists(st.one_of(LINE, NOISE.map(lambda text: text.partition(";")[0])), max_size=8))
@example(["", "1", "-", "."])
@example(["X1", "5", "X2", "1.2.3X1", "X3"])
@example(["X3", "N1*5", "N2G1X1*71", "*5X1", "G1*"])
@example(["G0G20M2", "M30G3G91M4", "M2G2"])
def test_a_block_is_read_as_its_lines_are_read_word_by_word(texts):
    lines = lines_of("\n".join(texts), ENDLESS)

    for place, text in enumerate(texts):
        assert reading_at(lines, place) == read_singly(text), text


@pytest.mark.slow
@pytest.mark.parametrize("part", range(4))
def test_files_of_any_kind_are_read_as_their_lines_are_read_word_by_word(part):
    for data, _ in any_files(seed=f"lines {part}", number=150):
        texts = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
        lines = lines_of(b"\n".join(texts), ENDLESS)

        lines.remarks = [remark for remark in lines.remarks if remark.kind not in OF_THE_TEXT]
        for place, text in enumerate(texts):
            assert reading_at(lines, place) == read_singly(significant(text)), text


@examples(100)
@given(
    st.lists(st.sampled_from(["G1X1", "Y2", "", "M5", "(c)"]), max_size=12),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.booleans(),
    st.integers(1, 9),
)
def test_blocks_cut_anywhere_hold_the_same_lines_at_the_same_bytes(texts, end, is_ended, size):
    data = end.join(texts).encode() + (end.encode() if is_ended else b"")

    found = []
    for block in Blocks(io.BytesIO(data), block_bytes=size):
        start = block.first_byte
        for number, text in enumerate(block.text.split(b"\n")[:-1]):
            found.append((block.first_line + number, start, text.rstrip(b"\r")))
            start += len(text) + 1

    wanted, start = [], 0
    for text in data.decode().split(end):
        wanted.append((len(wanted) + 1, start, text.encode()))
        start += len(text) + len(end)
    if wanted[-1][2] == b"":
        wanted.pop()  # nothing stands behind the last line's end
    assert found == wanted


class EndlessLine:
    """A file whose one line goes on for megabytes without being kept anywhere."""

    def __init__(self, megabytes):
        self._left = [b"X1" * 2**19] * megabytes + [b"\n", b"G1X5F100\n"]
        self.most_asked = 0

    def read(self, size):
        return self._take(size, lambda piece: piece)

    def readline(self, size):
        return self._take(size, lambda piece: piece[: piece.find(b"\n") + 1] or piece)

    def _take(self, size, part):
        self.most_asked = max(self.most_asked, size)
        if not self._left:
            return b""
        piece = part(self._left[0][:size])
        self._left[0] = self._left[0][len(piece) :]
        if not self._left[0]:
            self._left.pop(0)
        return piece


def test_a_line_of_two_hundred_megabytes_is_one_line_too_long():
    blocks = list(Blocks(EndlessLine(200)))

    assert [block.first_line for block in blocks] == [1, 2]
    assert blocks[0].size_bytes == 200 * 2**20 + 1
    assert len(blocks[0].text) < 5000
    assert blocks[1].text == b"G1X5F100\n"
    assert [remark.kind for remark in read_block(blocks[0], machine()).remarks] == ["line too long"]


def test_the_end_of_a_program_resets_modes_and_puts_the_beam_off():
    for word in ("M2", "M30"):
        lines = lines_of(word)
        assert lines.does(Event.ENDS)[0]
        assert lines.modes[:, 0].tolist() == [1, 90, -1, 5]


def test_every_pair_of_plain_words_of_one_group_is_refused_on_one_line():
    for one, two in itertools.product(["G0", "G1", "G2", "G3"], repeat=2):
        assert "two of a group" in [r.kind for r in lines_of(one + two).remarks]
