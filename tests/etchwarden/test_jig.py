"""`etchwarden jig` as a person uses it."""

import textwrap

import pytest
from click.testing import CliRunner

from etchwarden.commands.jig import command
from support.harnesses.catalogue_bench import Shop
from support.samples.designs import JIG, jig_of_toml
from support.samples.sheets import JIG_TABLE


def example():
    text = CliRunner().invoke(command, ["--help"]).stdout
    return textwrap.dedent(text[text.index('  format = "') :])


def test_places_are_told_in_the_order_of_etching_as_prepare_takes_them(tmp_path):
    (tmp_path / "jig.toml").write_text(example())

    told = CliRunner().invoke(command, ["show", str(tmp_path / "jig.toml"), "--tile", "90", "90"])

    assert told.exit_code == 0, told.output
    lines = told.stdout.splitlines()
    assert "4 × 3 pockets, for tiles of 90 × 90 mm; the exhaust is at the back" in lines[0]
    assert lines[1] == "Pocket 9 (row 3, column 1): --at 5.50 195.50"
    assert lines[-1] == "Pocket 4 (row 1, column 4): --at 290.50 5.50"
    assert len(lines) == 13


def test_what_does_not_fit_is_said(tmp_path):
    (tmp_path / "jig.toml").write_text(example())
    words = ["show", str(tmp_path / "jig.toml")]

    for more, said in (
        (["--tile", "92", "90"], "does not lie in a pocket"),
        (["--tile", "nan", "90"], "does not lie in a pocket"),
        (["--head", "none.toml"], "there is no laser"),
    ):
        refused = CliRunner().invoke(command, [*words, *more])
        assert refused.exit_code == 1
        assert said in refused.stderr


def test_the_example_of_the_help_is_a_jig():
    assert len(jig_of_toml(example()).places()) == 12


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "jig.toml").write_text(JIG)
    (tmp_path / "bare.toml").write_text(JIG.partition("[corners]")[0])
    with Shop(tmp_path) as shop:
        shop.loop.machine = {"controller_state": "Idle"}
        yield shop


def test_a_jig_is_kept_with_the_machine_listed_and_used_by_its_name(shop):
    assert "No jig has been measured" in shop.done("jig list")
    assert "The machine keeps Signs: 3 pockets." in shop.done("jig add {here}/jig.toml")

    assert "Signs: 3 × 1 pockets of 61 × 41 mm, measured by " in shop.done("jig list")
    assert shop.logbook.ask("jigs")["jigs"][0]["jig"] == JIG_TABLE
    shown = shop.done("jig show Signs --tile 60 40")
    assert "Pocket 1 (row 1, column 1): --at 5.50 5.50" in shown
    refused = shop.say("jig show Sings")
    assert "only Signs" in refused.output


def test_corners_are_where_the_head_stood_when_somebody_said_so(shop):
    """The head is moved between the two: it stands elsewhere the second time."""
    places = iter([[5.0, 5.0], [195.9, 46.2], [195.9, 46.2]])
    still = shop.loop.snapshot

    def moved():
        shop.loop.machine["position_mm"] = next(places)
        return still()

    shop.loop.snapshot = moved
    said = shop.done("jig add {here}/bare.toml --measure", answer="\n\n")

    assert "lower left corner of the first pocket" in said
    assert "x 195.90, y 46.20 mm from the origin." in said
    kept = shop.logbook.ask("jigs")["jigs"][0]["jig"]
    assert kept == JIG_TABLE | {"upper_right_x_mm": 195.9, "upper_right_y_mm": 46.2}


def test_the_pointer_stands_beside_the_beam(shop):
    """By the laser's own figures; one place for both corners is no jig."""
    (shop.folder / "red.toml").write_text(
        "pointer_x_mm = 30.0\npointer_y_mm = -2.0\n" + shop.folder.joinpath("shed.toml").read_text()
    )

    refused = shop.say(
        "jig add {here}/bare.toml --measure --pointer {here}/red.toml", answer="\n\n"
    )

    assert "x 42.00, y 56.80 mm from the origin." in refused.output
    assert "the two corners lie 0.0 mm apart" in refused.output
    assert shop.logbook.ask("jigs")["jigs"] == []


BED = {"left_mm": 0.0, "bottom_mm": 0.0, "right_mm": 190.0, "top_mm": 100.0, "is_homed": True}


@pytest.mark.parametrize(
    ("machine", "words", "said"),
    [
        (
            {"bed": BED},
            "jig.toml",
            "pocket 3 lies outside the bed: the head goes from x 0.0 to 190",
        ),
        ({"controller_state": "Jog"}, "bare.toml --measure", "wait until it stands still"),
        ({"is_moving": True}, "bare.toml --measure", "wait until it stands still"),
        ({"position_mm": None}, "bare.toml --measure", "where the head stands is not known"),
        ({}, "bare.toml", "a jig needs [pockets], and [corners]"),
    ],
)
def test_what_cannot_be_kept_is_refused(shop, machine, words, said):
    shop.loop.machine = {"controller_state": "Idle"} | machine

    refused = shop.say(f"jig add {{here}}/{words}", answer="\n\n")

    assert refused.exit_code == 1, refused.output
    assert said in refused.output
    assert shop.logbook.ask("jigs")["jigs"] == []
