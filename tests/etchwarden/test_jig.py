"""`etchwarden jig` as a person uses it."""

import textwrap

from click.testing import CliRunner

from etchwarden.commands.jig import command
from support.samples.designs import jig_of_toml


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
