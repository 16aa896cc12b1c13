"""`etchwarden bench` as a person uses it."""

import shutil

import pytest
from click.testing import CliRunner

from etchwarden.commands.bench import command
from etchwarden.commands.design import command as design
from etchwire.sheet import read_sheet
from support.samples.designs import JIG, SIGN

pytestmark = pytest.mark.usefixtures("fonts")


@pytest.fixture(scope="module")
def prepared(tmp_path_factory):
    """Return a folder with a jig of three pockets and a prepared sign."""
    folder = tmp_path_factory.mktemp("prepared")
    (folder / "jig.toml").write_text(JIG)
    (folder / "sign.toml").write_text(SIGN)
    made = CliRunner().invoke(
        design, ["prepare", str(folder / "sign.toml"), "-o", str(folder / "sign")]
    )
    assert made.exit_code == 0, made.output
    return folder


@pytest.fixture
def bench(tmp_path, prepared):
    """Return a call of the command beside a jig of three pockets and a prepared sign."""
    shutil.copytree(prepared, tmp_path, dirs_exist_ok=True)

    def run(*words):
        return CliRunner().invoke(command, [word.format(here=tmp_path) for word in words])

    return run


def test_signs_in_a_jig_become_one_job_and_one_of_them_is_done_again(bench, tmp_path):
    laid = ("{here}/jig.toml", "3={here}/sign", "1={here}/sign", "-o", "{here}/tonight")
    done = bench("prepare", *laid, "--tile", "60", "40", "--lot", "spring", "--set")

    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0].startswith("Signs: 2 tiles on ")
    assert lines[1] == "1. Pocket 1: House number, from x 5.50, y 5.50 to x 65.50, y 45.50 mm"
    assert lines[2].startswith("2. Pocket 3: House number, from x 135.50")
    assert lines[-1] == "Nothing lies in pocket 2."
    shown = bench("show", "{here}/tonight")
    assert shown.stdout.splitlines() == lines[:-1]
    again = bench("again", "{here}/tonight", "3", "-o", "{here}/three")
    less = bench("without", "{here}/tonight", "3", "-o", "{here}/one")

    assert (again.exit_code, less.exit_code) == (0, 0), again.output + less.output
    assert [part.pocket for part in read_sheet(tmp_path / "three").parts] == [3]
    assert [part.pocket for part in read_sheet(tmp_path / "one").parts] == [1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("x={here}/sign",), "'x="),
        (("1={here}/none",), "pocket 1: no job sheet can be read"),
        (("1={here}/sign", "--thickness", "9"), "is 9 mm thick, and Signs is for 8 mm"),
        (("1={here}/sign", "--warp", "1"), "is warped by 1 mm"),
        (("1={here}/sign", "2={here}/sign", "--lot", "a", "--lot", "2=b", "--set"), "one lot"),
    ],
)
def test_what_cannot_be_laid_is_refused_in_a_sentence(bench, tmp_path, words, said):
    refused = bench("prepare", "{here}/jig.toml", *words, "-o", "{here}/tonight")

    assert refused.exit_code != 0
    assert said in refused.output
    assert not (tmp_path / "tonight").exists()
