"""`etchwarden answer` against a daemon that says what a test wants."""

import pytest
from click.testing import CliRunner

from etchdaemon.errors import CommandRefused
from etchdaemon.rpc.dispatcher import Dispatcher
from etchwarden.__main__ import main
from etchwire.calls.call import Done
from support.fakes.fake_daemon import ROUND, box, snapshot_table


class Loop:
    """The daemon's loop; it refuses an answer where nothing is asked."""

    def __init__(self, report):
        self.report = report
        self.asked = []

    def snapshot(self):
        return snapshot_table("etching", interlocks=self.report)

    def request(self, call):
        self.asked.append(call.method())
        if self.report["asked_for"] is None:
            raise CommandRefused("Nobody is asked for.")
        return Done()

    def call_on_change(self, _):
        pass


@pytest.fixture
def answer(tmp_path):
    def run(loop, *words):
        with Dispatcher(tmp_path / "socket", loop, None):
            arguments = ["answer", "--daemon", str(tmp_path / "socket"), *words]
            return CliRunner().invoke(main, arguments)

    return run


def test_a_round_is_shown_and_answered(answer):
    loop = Loop(box(is_round_asking=True))

    result = answer(loop)

    assert (result.exit_code, result.output) == (0, f"{ROUND}\nAnswered.\n")
    assert loop.asked == ["answer_round"]


def test_it_may_only_be_shown(answer):
    loop = Loop(box(is_look_asked=True, asked_for="Look whether anything glows."))

    result = answer(loop, "--show")

    assert (result.exit_code, result.output) == (0, "Look whether anything glows.\n")
    assert loop.asked == []


def test_where_nobody_is_asked_for_it_says_so(answer):
    result = answer(Loop(box()))

    assert result.exit_code == 1
    assert "Nobody is asked" in result.output
