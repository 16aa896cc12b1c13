"""Files that no program writes on purpose: the language's words in any order, and damaged jobs.

Everything comes from the seed, so a file that was found wanting can be made again.
"""

import json
import random
from dataclasses import fields
from itertools import count, islice

import numpy as np

from etchpath.index import IndexBuilder
from etchpath.language.dialect import G_CODES, M_CODES, VALUE_LETTERS
from etchpath.machine import Machine
from etchwire.plain import SMALLEST
from support.harnesses.gcode_bench import inspected, job_of, machine

CODES = [
    *(f"G{tenfold / 10:g}" for tenfold in G_CODES),
    *(f"M{tenfold / 10:g}" for tenfold in M_CODES),
    *("G64", "G99.9", "M6", "M7", "M62", "G", "M-3", "G0.5"),
]
USUAL = ["G0", "G1", "G2", "G3", "G90", "G91", "M3", "M4", "M5", "G20", "G21", "G92", "G80"]
LETTERS = [*sorted(VALUE_LETTERS), *"XYXYXYIJRSF", "E", "A", "O"]
NUMBERS = [
    *("0", "1", "2.5", "-1", "-0", "10", "100", "1000", "299.99", "-300", ".5", "5.", "+3"),
    *("9999999", "99999999", "123456789.123456789", "0.0000001", "-.00000001", "1e5", "--1"),
    *("1.2.3", "", "-", ".", "9" * 15, "9" * 16, "9" * 70, "9" * 200, "." + "0" * 60 + "1"),
]
FAIR = (
    "G1X# G1X#Y# X#Y#S# X# G0X#Y# G2X#Y#I#J# G2X10Y0I5J0 G3X#R# G3X#Y#R# G2I#J#X# F# S# G91 G90 G20"
    " G21 M3 M4 M5 G4P# G92X#Y# G92.1 M3S# G91G1X#F# G1X#I# G2F# F#R# G80"
)
SCRAPS = [
    *("(", ")", "(a word)", ";", "; done", "%", "/", " ", "\t", "?", "!", "~", "\x18", "\xff"),
    *("$H", "$32=1", "$$", "[", "]", ",", "#1=2", "=", "\r", "\xef\xbb\xbf", "\0", "nan", "inf"),
]
ENDS = ["\n"] * 20 + ["\r\n", "\r", "\n\n", ""]
MACHINES = [
    machine(),
    machine(junction_deviation_mm=0.0, planner_blocks=1),
    machine(has_heartbeat_contact=True, steps_per_mm=0.5, origin_x_mm=100.0, origin_y_mm=100.0),
    machine(line_limit_counts_all=True, line_limit=255, receive_bytes=1024, planner_blocks=100),
]
FIGURES = [entry.name for entry in fields(Machine) if entry.type is float]
MACHINES += [
    *(machine(**{name: most}) for name in FIGURES for most in (SMALLEST, 1e9)),
    machine(**dict.fromkeys(FIGURES, SMALLEST)),
    machine(**dict.fromkeys(FIGURES, 1e9)),
]
JOB = job_of(np.random.default_rng(7).random((4, 12)) < 0.5)[0].decode()


def any_files(seed, number):
    """Yield `number` files with the machine that each is to run on."""
    for place in islice(count(), number):
        chance = random.Random(f"{seed}/{place}")
        write = chance.choice([_words, _fair_lines, _damaged_job])
        yield (
            write(chance).encode("latin-1"),
            chance.choice(MACHINES),
        )


def report_of(data, of_machine):
    """Inspect `data` with everything that looks on; return the report as JSON reads it."""
    figures, index = OnlyFigures(), IndexBuilder()
    report = inspected(
        data,
        of_machine,
        on_states=[figures.see_states, index.see_states],
        on_times=[figures.see_times, index.see_times],
    )
    index.entries()
    return json.loads(report.to_json())


class OnlyFigures:
    """Watches a preflight go by: whatever is worked out has to be a figure."""

    def see_states(self, states):
        assert np.isfinite([states.x_mm, states.y_mm]).all()

    def see_times(self, timed):
        travel = timed.travel
        for worked_out in (
            *(timed.seconds, timed.ends_s, timed.needed_bytes_per_s),
            *(travel.seconds, travel.length_mm),
            *(travel.entry_mm_per_s, travel.peak_mm_per_s, travel.exit_mm_per_s),
        ):
            assert np.isfinite(worked_out).all()
            assert (worked_out >= 0).all()
        assert (timed.toolpath.feed_mm_per_s > 0).all()  # false for what is not a number, too


def _words(chance):
    begin = chance.choice(["", "G21G90\nM4S500F1000\n", "G91G1F600\nM3S9\n", "G2F100\n"])
    lines = (any_line(chance) + chance.choice(ENDS) for _ in range(chance.randrange(16)))
    return begin + "".join(lines) + chance.choice(["", "M5\nM2\n"])


def _fair_lines(chance):
    """Lines that mostly make sense, with numbers that mostly do not."""
    numbers = chance.choice([NUMBERS[:13], NUMBERS])
    forms = (chance.choice(FAIR.split()) for _ in range(chance.randrange(1, 30)))
    lines = ("".join(chance.choice(numbers) if c == "#" else c for c in form) for form in forms)
    return "G1F900S1" + chance.choice(["", "M4"]) + "\n" + "\n".join(lines) + "\nM5\nM2\n"


def any_line(chance):
    return "".join(_word(chance) for _ in range(chance.randrange(6)))


def _word(chance):
    kind = chance.random()
    if kind < 0.06:
        return chance.choice(SCRAPS)
    if kind < 0.16:
        return chance.choice(CODES)
    if kind < 0.4:
        return chance.choice(USUAL)
    usual = NUMBERS[:13] if chance.random() < 0.8 else NUMBERS
    return chance.choice(LETTERS) + chance.choice(usual)


def _damaged_job(chance):
    text = JOB
    for _ in range(chance.randrange(1, 6)):
        first, last = sorted(chance.randrange(len(text) + 1) for _ in range(2))
        damage = chance.choice([_cut, _doubled, _swapped, _spoilt, _worded])
        text = damage(chance, text, first, min(last, first + 40)) or "\n"
    return text


def _cut(_, text, first, last):
    return text[:first] + text[last:]


def _doubled(_, text, first, last):
    return text[:last] + text[first:]


def _swapped(_, text, first, last):
    return text[last:] + text[first:last] + text[:first]


def _spoilt(chance, text, first, _):
    return text[:first] + chr(chance.randrange(256)) + text[first + 1 :]


def _worded(chance, text, first, _):
    return text[:first] + _word(chance) + text[first:]
