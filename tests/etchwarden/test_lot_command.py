"""Painting lots by command, against a real logbook."""

import re

import pytest
from click.testing import CliRunner

from darkroom.camera import Shot, photograph
from darkroom.two_tiles import two_tiles
from etchwarden.commands.lot import command
from etchwire.sheet import read_sheet
from support.harnesses.catalogue_bench import Shop
from support.harnesses.logbooks import STARTED_UTC
from support.samples.sheets import part_of, sheet_of

SURFACE = "'white tile'"


@pytest.fixture
def shop(tmp_path):
    with Shop(tmp_path) as shop:
        shop.done(f"surface set {SURFACE} --paint satin")
        yield shop


def test_a_lot_is_added_bit_by_bit_listed_and_shown(shop):
    said = shop.done(
        f"lot add 'lot 7' --surface {SURFACE} --painted 2026-11-20T17:00 --box 9 --size 99.8 99.7"
    )
    shop.done("lot add 'lot 7' --tolerance 0.3 --frost-rated no --dry-after 30")

    assert "a check strip" in said
    assert "overnight: common practice" in said
    assert "lot 7: white tile, dry, 0 etched\n" in shop.done("lot list")
    shown = shop.done("lot show 'lot 7'")
    assert "width in mm: 99.8\n" in shown
    assert "frost-rated: no\n" in shown


def test_a_lot_painted_just_now_is_not_dry(shop):
    said = shop.done(f"lot add 'lot 8' --surface {SURFACE} --painted 2099-01-01T08:00+00:00")

    assert "not dry before 2099-01-01T20:00 UTC" in said


@pytest.mark.slow
def test_an_etch_is_told_its_lot_and_a_job_its_next(shop):
    shop.done("card power -o {here}/first --steps 4 4")
    run = shop.etch("first")
    shop.done(f"lot add 'lot 7' --surface {SURFACE} --painted 2026-11-20T17:00")

    shop.done(f"lot assign 'lot 7' --run {run}")
    shop.done("lot assign 'lot 7' --job {here}/first")
    again = shop.etch("first")

    assert [shop.logbook.ask("run", id=one)["lot"] for one in (run, again)] == ["lot 7", "lot 7"]


@pytest.mark.slow
def test_tiles_of_a_jig_are_told_a_lot_of_their_own(shop):
    shop.done("card power -o {here}/first --steps 4 4")
    for name in ("lot 7", "lot 8"):
        shop.done(f"lot add '{name}' --surface {SURFACE} --painted 2026-11-20T17:00")

    said = shop.done("lot assign 'lot 7' --job {here}/first --pocket '3=lot 8'")
    run = shop.logbook.start_run(
        sheet_json=sheet_of(
            gcode_sha256=read_sheet(shop.folder / "first").gcode_sha256,
            parts=(part_of(1, 0), part_of(3, 10)),
        ).to_json(),
        started_at_utc=STARTED_UTC, notes={},
    )  # fmt: skip

    assert "lot 7, but pocket 3=lot 8." in said
    tiles = shop.logbook.ask("run", id=run)["tiles"]
    assert {tile["pocket"]: tile["lot"] for tile in tiles} == {1: "lot 7", 3: "lot 8"}


@pytest.mark.parametrize(
    ("words", "answer"),
    [
        ("lot assign 'lot 9' --run 1 --pocket three", "says no pocket"),
        ("lot add 'lot 9'", "Say --surface"),
        (f"lot add 'lot 9' --surface {SURFACE} --painted yesterday", "is no time"),
        (f"lot add 'lot 9' --surface {SURFACE} --coats 99", "The number of coats must be"),
        ("lot show 'lot 9'", "knows no painting lot"),
        ("lot assign 'lot 9'", "Say --run"),
        ("lot assign 'lot 9' --job {here}/nowhere", "nowhere"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(shop, words, answer):
    result = shop.say(words)

    assert result.exit_code != 0
    assert answer in result.output
    assert "Traceback" not in result.output


@pytest.mark.slow
def test_two_tiles_of_a_photo_are_compared(tmp_path):
    (tmp_path / "both.jpg").write_bytes(
        photograph(two_tiles(94, 91), Shot(fill=1.28, light_ratio=1.5)).getvalue()
    )
    (tmp_path / "none.jpg").write_text("no photo")

    told = CliRunner().invoke(command, ["compare", str(tmp_path / "both.jpg")])
    refused = CliRunner().invoke(command, ["compare", str(tmp_path / "none.jpg")])

    assert re.fullmatch(r"The right tile is darker by (2\.[89]|3\.[0-2]) L\*, .*\n", told.stdout)
    assert refused.exit_code == 1
