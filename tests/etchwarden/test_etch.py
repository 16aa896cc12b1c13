"""`etchwarden etch` against a daemon that says what a test wants."""

from datetime import datetime

import pytest
from click.testing import CliRunner

from etchdaemon.errors import CommandRefused
from etchdaemon.rpc.dispatcher import Dispatcher
from etchwarden.__main__ import main
from etchwire.calls.call import Done, parameters_of
from support.fakes.fake_daemon import (
    BOX,
    JOB,
    ORIGIN_SHIFTED,
    QUESTIONS,
    TOO_LATE,
    box,
    preflight,
    snapshot_table,
)
from support.harnesses.calls import as_table


class Loop:
    """The daemon's loop: each wish brings the next state of a story."""

    def __init__(self, *story):
        self._now, *self._later = story
        self.wishes = {}
        self.refusal = None

    def snapshot(self):
        return self._now

    def request(self, call):
        if self.refusal:
            raise self.refusal
        self.wishes[call.method()] = as_table(parameters_of(call))
        self._now = self._later.pop(0)
        return Done()

    def call_on_change(self, _):
        pass


def loaded(**job):
    return snapshot_table(
        "loaded", job={**JOB, **job}, interlocks=box(questions=QUESTIONS), may=["arm", "unload"]
    )


ARMED, COMPLETE, FAILED = (
    snapshot_table("armed"),
    snapshot_table("complete"),
    snapshot_table("failed"),
)
ANSWERS = ("--answer", "lens=yes", "--answer", "focus=spacer", "--answer", "coated hours ago=24")


@pytest.fixture
def etch(tmp_path):
    def run(loop, *words, answer=None):
        with Dispatcher(tmp_path / "socket", loop, None):
            arguments = ["etch", "--daemon", str(tmp_path / "socket"), *words]
            return CliRunner().invoke(main, arguments, input=answer)

    return run


def test_a_job_is_armed_started_and_watched_to_its_end(etch):
    loop = Loop(loaded(), ARMED, COMPLETE)

    result = etch(loop, *ANSWERS, "--long-run", "--stays", "Ada")

    assert (result.exit_code, "Run 7: complete" in result.output) == (0, True)
    assert loop.wishes["arm"]["answers"] == {
        "lens": True, "focus": "spacer", "coated hours ago": 24.0,
    }  # fmt: skip
    assert loop.wishes["start"]["acknowledge_long_run"] is True
    assert loop.wishes["start"]["stays_until_end"] == "Ada"


def test_what_was_not_answered_beforehand_is_asked(etch):
    loop = Loop(loaded(), ARMED, COMPLETE)

    result = etch(loop, answer="y\nby eye\n3\n")

    assert result.exit_code == 0
    assert loop.wishes["arm"]["answers"] == {
        "lens": True, "focus": "by eye", "coated hours ago": 3.0,
    }  # fmt: skip


def test_findings_are_shown_and_have_to_be_accepted(etch):
    risky = loaded(preflight=preflight("acknowledge", ORIGIN_SHIFTED))

    no = etch(Loop(risky, ARMED, COMPLETE), *ANSWERS, answer="n\n")
    loop = Loop(risky, ARMED, COMPLETE)
    yes = etch(loop, *ANSWERS, answer="y\n")

    assert (no.exit_code, yes.exit_code) == (1, 0)
    assert "its own origin" in no.output
    assert loop.wishes["start"]["acknowledge"] == ["shifts its origin"]


def test_whoever_watches_reads_what_somebody_is_asked_for(etch):
    asked = snapshot_table(
        "complete", interlocks=box(is_look_asked=True, asked_for="Look once more.")
    )

    result = etch(Loop(loaded(), ARMED, asked), *ANSWERS)

    assert "Look once more." in result.output


def test_whoever_watches_several_tiles_reads_each_once_and_when_it_ends(etch):
    tile = {
        "pocket": 5, "title": "Ida", "number": 3, "tiles": 8, "remaining_s": 600.0,
        "ends_at_utc": "2026-11-25T14:20:00+00:00",
    }  # fmt: skip
    run = {**COMPLETE["run"], "tile": tile, "ends_at_utc": "2026-11-25T16:05:00+00:00"}

    result = etch(Loop(loaded(), ARMED, {**COMPLETE, "run": run}), *ANSWERS)

    ends, all_end = (
        datetime.fromisoformat(at_utc).astimezone().strftime("%H:%M")
        for at_utc in (tile["ends_at_utc"], run["ends_at_utc"])
    )
    said = f"Tile 3 of 8, in pocket 5, ends {ends}, all {all_end}."
    assert result.output.count(said) == 1


def test_an_etch_that_failed_says_why(etch):
    result = etch(Loop(loaded(), ARMED, FAILED), *ANSWERS)

    assert result.exit_code == 1
    assert "Run 7: failed: cable lost" in result.output


@pytest.mark.parametrize(
    ("loop", "words", "sentence"),
    [
        (Loop(snapshot_table("idle")), (), "No job is loaded"),
        (Loop({**loaded(preflight=preflight("refused")), "may": []}), (), "Job checked:"),
        (Loop(snapshot_table("etching")), (), "cannot be got ready now. Row 413"),
        (Loop(loaded()), ("--answer", "coated hours ago=long"), "a number of hours"),
        (
            Loop(loaded(), snapshot_table("loaded", may=["unload"], interlocks=box(
                arming={**BOX["arming"], "failed_because": "Too late."}
            ))),
            ANSWERS, "Too late.",
        ),
    ],
    ids=["no job", "refused", "etching", "no number", "arming failed"],
)  # fmt: skip
def test_what_keeps_it_from_starting_ends_in_a_sentence(etch, loop, words, sentence):
    result = etch(loop, *words, answer="y\nspacer\n1\n" if not words else "y\nspacer\n")

    assert result.exit_code != 0
    assert sentence in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize("answers", [ANSWERS, ()], ids=["armed meanwhile", "not yet armed"])
def test_a_firm_closing_time_ends_it_at_once_and_nobody_waits_for_the_start(etch, answers):
    closed = {"asked_at_start": {"too_late": TOO_LATE}}
    before = {**loaded(), "may": ["unload"], **closed}
    story = (loaded(), snapshot_table("armed", may=["disarm"], **closed)) if answers else (before,)

    result = etch(Loop(*story), *answers)

    assert result.exit_code == 1
    assert result.output.splitlines()[-1] == f"Error: {TOO_LATE}"


def test_it_is_said_when_somebody_has_to_press_the_button_and_arming_follows(etch):
    down = {"request": "The safety relay is down. Press the button, then arm."}

    class Person(Loop):
        """Presses the button after having been told, once before and once after arming."""

        def snapshot(self):
            now = self._now
            if not now["may"] or now["may"] == ["disarm"]:
                self._now = self._later.pop(0)
            return now

    pressed_first = {**loaded(), "interlocks": {**box(questions=QUESTIONS), **down}, "may": []}
    pressed_later = snapshot_table("arming")
    loop = Person(pressed_first, loaded(), pressed_later, ARMED, COMPLETE)

    result = etch(loop, *ANSWERS)

    assert result.exit_code == 0
    assert result.output.count("Press the button, then arm.") == 1
    assert result.output.count("Now press the button at the machine.") == 1


def test_a_refusal_of_the_daemon_is_said_as_it_is(etch):
    loop = Loop(loaded())
    loop.refusal = CommandRefused("The lid is open.")

    result = etch(loop, *ANSWERS)

    assert (result.exit_code, "The lid is open." in result.output) == (1, True)
