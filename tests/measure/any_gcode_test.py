"""The preflight's promise under a hundred thousand files: any bytes end in a report of figures."""

import time
from collections import Counter

import pytest

from support.samples.any_gcode import any_files, report_of

pytestmark = pytest.mark.measure

FILES = 100_000


def test_a_hundred_thousand_files_end_in_a_report():
    began_s = time.process_time()

    verdicts = Counter(report_of(*made)["verdict"] for made in any_files("measure", FILES))

    print(f"\n{FILES} files, {time.process_time() - began_s:.0f} s of processor: {dict(verdicts)}")
    assert verdicts.total() == FILES
