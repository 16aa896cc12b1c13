"""What a real controller was recorded to refuse, the preflight refuses before it is sent.

Source: the recordings beside the tests; the other way round is no rule, since the preflight also
refuses what a controller runs and a laser should not.
"""

import itertools

import pytest

from etchpath.preflight.kind import Severity
from etchpath.preflight.policy import KINDS
from support.harnesses.gcode_bench import inspected, machine
from support.samples.recorded_exchange import read

MACHINES = {
    "": machine(),
    "-32bit": machine(line_limit=255, line_limit_counts_all=True),
}


def refused_lines():
    """Yield each line of G-code that was answered with an error, and by which firmware."""
    for firmware in MACHINES:
        for subject in ("08-errors-gcode", "13-lexical"):
            entries = read(subject + firmware).entries
            for sent, answer in itertools.pairwise(entries):
                if sent.kind == ">" and answer.kind == "<" and answer.text.startswith("error"):
                    yield firmware, sent.text


@pytest.mark.parametrize(("firmware", "line"), list(refused_lines()))
def test_a_line_that_was_refused_is_refused_before(firmware, line):
    report = inspected(f"{line}\nM2\n", MACHINES[firmware])

    severities = {KINDS[finding.kind].severity for finding in report.findings}
    assert Severity.REFUSED in severities, sorted(finding.kind for finding in report.findings)
