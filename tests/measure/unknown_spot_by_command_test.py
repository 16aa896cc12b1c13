"""From a laser whose spot nobody knows to a portrait, doing by command what each command names.

`pytest -m measure tests/measure/unknown_spot_by_command_test.py -s`. Machine, tile and laser are
invented. Printed are the cards, the recipe, and how true the portrait is.
"""

import re
import time

import pytest

from etchphoto.job.order import FROM_TEST_CARD
from etchwire.sheet import read_sheet
from measure.portrait_truth import SIDE_MM, off_what_it_can_hold, portrait
from support.harnesses.catalogue_bench import OWN_LASER
from support.harnesses.settings_by_command import NAMED, bench_on_unknown_surface

pytestmark = pytest.mark.measure

NEXT = re.compile(r"etchwarden card (\w+) -o NAME")
MOST_CARDS = 8
MORE = {"focus": ("--wedge", 0, 18, 150)}


@pytest.mark.parametrize("surface", ["white-tile", "thick-coat"])
def test_what_each_command_names_leads_from_an_unknown_spot_to_a_portrait(surface, tmp_path):
    began_s = time.monotonic()
    with bench_on_unknown_surface(tmp_path, speedup=40, surface=surface) as bench:
        kinds = follow(bench)
        bench.lay_tile()
        (tmp_path / "face.png").write_bytes(portrait())
        bench.say("prepare", tmp_path / "face.png", "-o", tmp_path / "portrait", "--width",
                  SIDE_MM, "--halftone", FROM_TEST_CARD, "--head", "shed", "--surface", NAMED,
                  "--at", 20, 20)  # fmt: skip
        bench.etch(tmp_path / "portrait")
        bench.look(tmp_path / "portrait")
    sheet = read_sheet(tmp_path / "portrait")
    recipe = sheet.recipe
    rms = off_what_it_can_hold(tmp_path / "tile.png", surface, recipe.line_spacing_mm)
    print(f"\n{surface}: {', '.join(kinds)}; {time.monotonic() - began_s:.0f} s of the wall's")
    print(f"spot {sheet.head.spot_x_mm:g} × {sheet.head.spot_y_mm:g} mm; {recipe}")
    print(f"tile against what it can hold: {rms:.2f} L* RMS at 350 mm")
    assert kinds[0] == "focus"
    assert set(kinds) == {"focus", "power", "spacing", "tone", "register"}


def follow(bench):
    """Make, etch, photograph and read each card that is named; return their kinds."""
    file = bench.folder / "shed.toml"
    file.write_text("\n".join(line for line in OWN_LASER.splitlines() if "spot" not in line))
    said, kinds = bench.say("laser", "describe", file), []
    while (named := NEXT.findall(said)) and len(kinds) < MOST_CARDS:
        kind = named[-1]
        kinds.append(kind)
        job = bench.folder / f"{len(kinds)}-{kind}"
        bench.lay_tile(is_on_wedge=kind == "focus")
        bench.say("card", kind, "-o", job, "--head", "shed", "--surface", NAMED,
                  *MORE.get(kind, ()))  # fmt: skip
        bench.etch(job)
        said = bench.say(
            "read", bench.photograph(job), "--wiped", "--accept", "--fingernail", "yes"
        )
        print(said)
    return kinds
