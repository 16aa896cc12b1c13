"""Fifty cuts of a file a firmware: `pytest -m measure tests/measure/file_cuts_test.py -s`."""

import statistics

import pytest

from etchpractice.firmware.firmware import FIRMWARES
from etchpractice.machine import PracticeMachine
from rig.bench import Rig
from rig.file_cuts import HATCHING, gap_of, light, start

pytestmark = pytest.mark.measure

SEEDS = range(100, 150)


def _rig(folder, firmware):
    folder.mkdir()
    return Rig(folder, PracticeMachine(firmware=firmware))


@pytest.mark.parametrize("firmware", FIRMWARES)
def test_gaps_of_files_cut_short(tmp_path, firmware):
    with _rig(tmp_path / "whole", firmware) as whole:
        start(whole, HATCHING)
        whole.wait_for_the_end()
        at_once = light(whole)

    gaps = []
    for seed in SEEDS:
        with _rig(tmp_path / str(seed), firmware) as rig:
            gaps.append(gap_of(rig, seed, at_once))

    over_mm = [gap.told_mm - gap.missing_mm for gap in gaps]
    print(f"\n{len(gaps)} cuts of a file, {firmware} firmware")
    print(f"more missing than told, or burnt twice: {sum(gap.is_wrong for gap in gaps)}")
    print(
        f"told beyond missing: median {statistics.median(over_mm):.2f} mm, most {max(over_mm):.2f}"
    )
    assert not any(gap.is_wrong for gap in gaps)
