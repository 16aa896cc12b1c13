"""Rows burnt in both directions do not meet until lag and slack are measured and corrected."""

import numpy as np
import pytest

from etchpractice.tile.exposure import CELL_MM
from etchwire.catalogue.examples import PRACTICE_REGISTER
from etchwire.catalogue.heads import Register
from support.harnesses.practice_host import Host


def edges(feed, *, register=Register(), **machine):  # noqa: B008 - it is frozen
    """Burn 10 mm to the right at y 1 and to the left at y 2, and return where each begins."""
    lead = register.lead_mm(feed)
    host = Host(**machine)
    host.run(
        f"G21G90G1F{feed}M4S0", f"X{10 - lead:.3f}Y1", f"X{20 - lead:.3f}S1000", "X30S0", "G0Y2",
        f"G1X{20 + lead:.3f}", f"X{10 + lead:.3f}S1000", "X0S0",
    )  # fmt: skip
    found = []
    for y in (1, 2):
        felt = host.machine.tile.exposure_j_per_mm2((8, y - 0.1, 22, y + 0.1)).sum(axis=0)
        felt = felt / np.median(felt[200:360])
        at = [np.flatnonzero(felt > 0.5)[0], np.flatnonzero(felt > 0.5)[-1] + 1]
        found.append(8 + np.array(at) * CELL_MM)
    return found


@pytest.mark.parametrize("feed", [1200, 4000, 6000])
def test_a_row_lands_lag_and_half_the_slack_further_along_its_own_way(feed):
    right, left = edges(feed)

    lead = PRACTICE_REGISTER.lead_mm(feed)
    assert right == pytest.approx([10 + lead, 20 + lead], abs=CELL_MM)
    assert left == pytest.approx([10 - lead, 20 - lead], abs=CELL_MM)


@pytest.mark.parametrize("feed", [1200, 4000, 6000])
def test_rows_meet_when_the_register_measured_is_applied(feed):
    right, left = edges(feed, register=PRACTICE_REGISTER)

    assert right == pytest.approx([10, 20], abs=CELL_MM)
    assert left == pytest.approx([10, 20], abs=CELL_MM)


@pytest.mark.parametrize("measured", [(0.0, 0.06), (0.0004, 0.0), (0.001, 0.2)])
def test_other_machines_are_off_by_what_they_are_built_with(measured):
    lag_s, slack_mm = measured
    right, left = edges(3000, beam_lag_s=lag_s, slack_mm=slack_mm)

    lead = Register(beam_lag_s=lag_s, slack_mm=slack_mm).lead_mm(3000)
    assert right[0] - left[0] == pytest.approx(2 * lead, abs=2 * CELL_MM)


def test_without_lag_and_slack_the_rows_meet_as_told():
    right, left = edges(4000, beam_lag_s=0.0, slack_mm=0.0)

    assert right == pytest.approx(left, abs=CELL_MM)
