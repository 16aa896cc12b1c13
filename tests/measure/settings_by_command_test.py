"""From an unknown surface to a portrait by commands alone; prints how true the portrait is."""

import json
import time

import pytest

from etchphoto.job.order import FROM_TEST_CARD
from etchwire.catalogue.examples import PRACTICE_REGISTER
from etchwire.sheet import read_sheet
from measure.portrait_truth import DEFOCUS, SIDE_MM, off_what_it_can_hold, portrait
from support.harnesses.settings_by_command import NAMED, bench_on_unknown_surface

pytestmark = pytest.mark.measure


@pytest.mark.parametrize("surface", ["white-tile", "thick-coat"])
def test_from_an_unknown_surface_to_a_portrait_that_follows_its_photo(surface, tmp_path):
    began_s = time.monotonic()
    with bench_on_unknown_surface(
        tmp_path, speedup=40, imperfections=(DEFOCUS,), surface=surface
    ) as bench:
        find_settings(bench)
    print(f"\nthe whole way took {time.monotonic() - began_s:.0f} s")


def find_settings(bench):
    here = bench.folder
    pair = ("--surface", NAMED)

    bench.say(
        "card", "power", "-o", here / "first", "--head", here / "shed.toml", *pair,
        "--steps", 5, 4, "--place", 70, 70,
    )  # fmt: skip
    bench.etch(here / "first")
    bench.say(
        "read", bench.photograph(here / "first"), "--wiped", "--accept", "--fingernail", "yes"
    )
    bench.say("card", "tone", "-o", here / "greys", "--head", "shed", *pair,
              "--at", 90, 0)  # fmt: skip
    bench.etch(here / "greys")
    bench.say("read", bench.photograph(here / "greys"), "--wiped", "--accept")
    bench.say("card", "register", "-o", here / "rows", "--head", "shed", *pair, "--at", 180, 0)
    bench.etch(here / "rows")
    bench.say("read", bench.photograph(here / "rows"), "--wiped", "--accept")
    (here / "face.png").write_bytes(portrait())
    bench.say("prepare", here / "face.png", "-o", here / "portrait", "--width", SIDE_MM,
              "--halftone", FROM_TEST_CARD, "--head", "shed", *pair, "--at", 20, 100)  # fmt: skip
    bench.etch(here / "portrait")

    told = json.loads(bench.say("timeline", "--head", "shed", *pair, "--json"))
    kinds = [event["kind"] for event in reversed(told["events"])]
    assert kinds == [
        "card", "run", "reading", "recipe", "card", "run", "reading", "recipe",
        "card", "run", "reading", "run",
    ]  # fmt: skip
    sheet = read_sheet(here / "portrait")
    recipe = sheet.recipe
    lead_mm, true_mm = (
        one.lead_mm(recipe.feed_mm_per_min) for one in (sheet.head.register, PRACTICE_REGISTER)
    )
    bench.look(here / "portrait")
    rms = off_what_it_can_hold(here / "tile.png", bench.surface, recipe.line_spacing_mm)
    print(f"\n{bench.surface}: recipe {recipe.feed_mm_per_min:.0f} mm/min, ", end="")
    print(f"{recipe.power_ratio * 100:.1f} %; lead {lead_mm:.4f} mm, true {true_mm:.4f}")
    print(f"tile against what it can hold: {rms:.2f} L* RMS at 350 mm")
    assert lead_mm == pytest.approx(true_mm, abs=0.02)
