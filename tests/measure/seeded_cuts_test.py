"""Two hundred cuts a firmware: `pytest -m measure tests/measure/seeded_cuts_test.py -s`.

Each is an etch in memory, cut at a moment that a seed draws, taken up again and held against a
whole one, cell by cell of the tile.
"""

import statistics

import pytest

from etchpractice.firmware.firmware import FIRMWARES
from rig.seeded_cuts import STALLED, SeededCuts

pytestmark = pytest.mark.measure

CUTS = 200


@pytest.mark.parametrize("firmware", FIRMWARES)
def test_seams_of_seeded_cuts(tmp_path, firmware):
    cuts = SeededCuts(firmware, tmp_path)

    seams = [cuts.seam(seed) for seed in range(CUTS)]

    in_rows = [seam for seam in seams if seam.overlap_mm is not None]
    prompt = [abs(seam.overlap_mm) for seam in in_rows if seam.cause != STALLED]
    worst = max(in_rows, key=lambda seam: abs(seam.overlap_mm))
    print(
        f"\n{CUTS} cuts, {firmware} firmware, {len(in_rows)} in a row and the others between rows"
    )
    print(f"silently wrong: {sum(seam.is_wrong for seam in seams)}")
    print(f"two rows named: {sum(seam.rows_named == 2 for seam in seams)}")
    print(f"seam: median {statistics.median(prompt):.2f} mm, worst {max(prompt):.2f} mm")
    print(
        f"worst, with the computer held up: {worst.overlap_mm:.2f} mm,"
        f" logged {worst.error_mm:.2f} mm, {worst.cause}"
    )
    assert not any(seam.is_wrong for seam in seams)
    assert sum(seam.rows_named == 2 for seam in seams) <= 0.05 * CUTS
