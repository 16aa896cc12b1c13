"""Etches cut anywhere, at turns too, and taken up again; what the tile shows of each seam.

Two hundred on each firmware are cut by `pytest -m measure tests/measure/seeded_cuts_test.py -s`.
"""

import pytest

from etchpractice.firmware.firmware import FIRMWARES
from rig.seeded_cuts import SeededCuts

pytestmark = pytest.mark.slow

SEEDS = range(12)
TWO_ROWS = {"8-bit": 140, "32-bit": 89}  # where the computer was busy about a turn


@pytest.mark.parametrize("firmware", FIRMWARES)
def test_no_row_is_missing_or_doubled_and_each_seam_lies_within_the_logged_error(
    tmp_path, firmware
):
    cuts = SeededCuts(firmware, tmp_path)

    seams = [cuts.seam(seed) for seed in (*SEEDS, TWO_ROWS[firmware])]

    assert [seam for seam in seams if seam.is_wrong] == []
    assert sum(seam.overlap_mm is not None for seam in seams) >= 5  # others fell between rows
    assert seams[-1].rows_named == 2
