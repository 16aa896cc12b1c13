"""`etchwarden practice --scenario FILE`: real processes, and everything comes as it is written.

What needs none of them is played in tests/scenarios; all are played so by
tests/measure/scenarios_test.py, on demand.
"""

import pytest

from etchpractice.scenario.script import read_scenario
from etchpractice.scenario.shelf import shelved
from support.harnesses.played_scenario import play, say
from support.harnesses.scenarios_by_stage import needs_processes


@pytest.mark.parametrize(
    "name",
    [
        "port_takes_nothing_more",  # a terminal's own
        "reading_hangs",  # a thread, and who misses it
        *(one.name for one in shelved() if needs_processes(read_scenario(one.path.read_text()))),
    ],
)
def test_a_scenario_is_told_in_sentences_and_comes_true(name):
    done = say(name)

    assert done.exit_code == 0, done.output
    assert "As expected after" in done.stdout
    assert done.stdout.endswith("Passed.\n")


def test_what_does_not_come_is_said_and_is_a_failure(tmp_path):
    path = tmp_path / "wrong.toml"
    path.write_text(
        'about = "Nobody opens the lid."\nbegins = "loaded"\n[[step]]\n'
        'expect = { trips = ["lid closed"] }\nwithin_s = 1\n'
    )

    done = play(path)

    assert done.returncode == 1
    assert "Not as expected within 1 s: tripped: lid closed; tripped: nothing." in done.stdout


def test_a_daemon_that_runs_is_not_started_again(tmp_path):
    path = tmp_path / "twice.toml"
    path.write_text(
        'about = "Two daemons."\nbegins = "loaded"\n[[step]]\n'
        'do = "daemon started"\nexpect = { daemon = "there" }\n'
    )

    done = play(path)

    assert done.returncode == 1
    assert "The daemon runs already." in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (None, "No such file"),
        (b"\xff\xfe", "it is not text in UTF-8"),
        (b'about = "x"\n[[step]]\ndo = "lid opend"\n', "Did you mean “lid opens”?"),
    ],
    ids=["missing", "no text", "faulty"],
)
def test_a_scenario_that_cannot_be_played_is_refused_before_anything_starts(tmp_path, text, said):
    path = tmp_path / "scenario.toml"
    if text is not None:
        path.write_bytes(text)

    done = say(path)

    assert done.exit_code == 1
    assert said in done.stderr
    assert isinstance(done.exception, SystemExit)  # and no error that nobody foresaw


def test_a_scenario_brings_its_own_picture():
    done = say("flame", "--out", "anywhere")

    assert done.exit_code == 2
    assert "brings its own picture" in done.stderr


@pytest.mark.parametrize(
    ("named", "code", "said"),
    [
        ("list", 0, "lid_opened_in_a_hold"),
        ("flam", 1, "Did you mean “flame”? A file of your own ends in “.toml”."),
    ],
)
def test_scenarios_that_come_with_the_program_are_listed_and_named(named, code, said):
    done = say(named)

    assert done.exit_code == code
    assert said in done.stdout + done.stderr
