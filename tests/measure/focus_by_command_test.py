"""From a laser that stands wrong to its focus and spot, by commands alone.

`pytest -m measure tests/measure/focus_by_command_test.py -s`. Machine, tile and laser are invented.
"""

import json
import re

import pytest

from etchpractice.tile.surface import surface_named
from etchproof.layout.job import read_card_file
from etchwire.catalogue.heads import Head
from support.harnesses.settings_by_command import NAMED, SURFACE, bench_on_unknown_surface

pytestmark = pytest.mark.measure

TILT, BEST_MM, LEFT_MM = 0.12, 6.7, 40.0
HALF_HEIGHT = 2.3548  # standard deviations of a Gaussian from half of its peak to half of it


def test_a_wedge_tells_focus_and_spot(tmp_path):
    # The tile rises 12 mm over 100 mm, and the card lies in its middle, LEFT_MM from the origin
    rise_at_origin_mm = (100 - 59.2) / 2 * TILT - LEFT_MM * TILT
    lies = (f"tilt_mm_per_mm={TILT}", f"defocus_mm={rise_at_origin_mm - BEST_MM}")
    here, pair = tmp_path, ("--surface", NAMED)
    with bench_on_unknown_surface(tmp_path, speedup=40, imperfections=lies) as bench:
        bench.say("card", "focus", "-o", here / "wedge", "--head", here / "shed.toml", *pair,
                  "--wedge", 0, 12, 100, "--speed", 2800, "--power", 60, "--at", LEFT_MM, 0,
                  "--bed-place", "front left")  # fmt: skip
        assert read_card_file(here / "wedge").width_mm == pytest.approx(59.2)
        bench.etch(here / "wedge")
        told = bench.say("read", bench.photograph(here / "wedge"), "--wiped", "--accept")
        lasers = bench.say("laser", "list")
        story = json.loads(bench.say("timeline", "--head", "shed", *pair, "--json"))
    print(f"\n{told}{lasers}")
    best_mm = float(re.search(r"in focus when it stands ([\d.]+) mm up", told)[1])
    across_mm, along_mm = map(
        float, re.search(r"is ([\d.]+) mm wide across the rows and ([\d.]+)", told).groups()
    )
    head = Head.from_table(read_card_file(here / "wedge").head.to_table())
    heat_mm = surface_named(SURFACE).heat_spread_mm
    true_mm = [
        HALF_HEIGHT * (spot**2 / 12 + heat_mm**2) ** 0.5
        for spot in (head.spot_y_mm, head.spot_x_mm)
    ]
    print(f"focus off by {best_mm - BEST_MM:+.2f} mm; spot across {across_mm:.2f} of "
          f"{true_mm[0]:.3f} mm, along {along_mm:.2f} of {true_mm[1]:.3f} mm")  # fmt: skip
    assert best_mm == pytest.approx(BEST_MM, abs=0.3)
    assert across_mm == pytest.approx(true_mm[0], abs=0.02)
    assert along_mm == pytest.approx(true_mm[1], abs=0.02)
    assert "by reading 1" in lasers
    assert [event["kind"] for event in story["events"]] == ["reading", "run", "card"]
