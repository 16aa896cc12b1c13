"""`etchwarden again`: what it says of an etch that was cut short, and what it asks the daemon."""

from contextlib import nullcontext

import pytest
from click.testing import CliRunner

from etchwarden.commands import again
from etchwarden.commands.again import IN_DOUBT
from etchwarden.shared import machine_calls
from etchwire.errors import Refused
from support.fakes.fake_daemon import FakeDaemon
from support.fakes.fake_unfinished import (
    BY_CUT,
    BY_EYE,
    BY_LINE,
    BY_TWO_ROWS,
    LEFT,
    NOT_KEPT,
    OF_A_BENCH,
    answer_unfinished,
)

AGAIN, KEPT = "origin set again", "tile and head have not moved"


@pytest.fixture
def daemon(monkeypatch):
    made = FakeDaemon("idle", unfinished=LEFT)
    monkeypatch.setattr(machine_calls, "DaemonClient", lambda _socket: nullcontext(made))
    return made


def take_up(*words, answer=None):
    return CliRunner().invoke(again.command, [*words, "--daemon", "socket"], input=answer)


def test_what_is_known_is_told_and_the_row_asked_for(daemon):
    done = take_up(answer="420\ny\n")

    assert done.exit_code == 0, done.output
    assert all(sentence in done.output for sentence in (*BY_EYE["known"], *BY_EYE["unknown"]))
    assert IN_DOUBT in done.output
    assert "581 rows, 100 × 58.1 mm, about 23 min 49 s, from row 420 on" in done.output
    assert daemon.said["reenter"] == {"run": 6, "confirm": AGAIN, "row": 419, "accept_gap": False}
    assert "Row 413 goes" in done.output


def test_the_row_the_record_ends_with_is_proposed(daemon):
    take_up("6", "--origin-set", answer="\n")

    assert daemon.said["reenter"]["row"] == 412


def test_the_tile_that_was_cut_is_left_out_of_a_bench(daemon):
    daemon.answers["unfinished"] = answer_unfinished(OF_A_BENCH)

    done = take_up("--leave-out", "--not-moved")

    assert done.exit_code == 0, done.output
    assert "Pocket 3 is left out; pocket 5 comes next: Zoe." in done.output
    assert "500 rows, 100 × 50.0 mm" in done.output
    assert daemon.said["reenter"]["row"] == 500


def test_where_no_tile_follows_none_is_left_out(daemon):
    daemon.answers["unfinished"] = answer_unfinished(BY_CUT)

    done = take_up("--leave-out", "--not-moved")

    assert (done.exit_code, again.NO_TILE_FOLLOWS in done.output) == (1, True)
    assert "reenter" not in daemon.said


def test_where_the_cut_was_logged_only_the_place_is_asked_for(daemon):
    daemon.answers["unfinished"] = answer_unfinished(BY_CUT)

    take_up(answer="y\n")

    assert daemon.said["reenter"] == {"run": 6, "confirm": KEPT, "row": None, "accept_gap": False}


def test_of_two_rows_a_person_chooses_one(daemon):
    daemon.answers["unfinished"] = answer_unfinished(BY_TWO_ROWS)

    done = take_up("--not-moved", answer="420\n414\n")

    assert done.exit_code == 0, done.output
    assert "413, 414" in done.output
    assert daemon.said["reenter"] == {"run": 6, "confirm": KEPT, "row": 413, "accept_gap": False}


@pytest.mark.parametrize(
    ("words", "answer"), [([], "y\n"), (["--accept-gap"], "")], ids=["asked", "said"]
)
def test_what_stays_unburnt_of_a_file_is_accepted_by_a_person(daemon, words, answer):
    daemon.answers["unfinished"] = answer_unfinished(BY_LINE)

    done = take_up("--not-moved", *words, answer=answer)

    assert done.exit_code == 0, done.output
    assert "3.4 mm of" in done.output
    assert "rows" not in done.output
    assert daemon.said["reenter"] == {"run": 6, "confirm": KEPT, "row": None, "accept_gap": True}


def test_who_does_not_accept_the_gap_has_nothing_loaded(daemon):
    daemon.answers["unfinished"] = answer_unfinished(BY_LINE)

    done = take_up("--not-moved", answer="n\n")

    assert done.exit_code == 1
    assert daemon.asked == []


def test_everything_can_be_said_beforehand(daemon):
    done = take_up("6", "--row", "414", "--origin-set")

    assert done.exit_code == 0, done.output
    assert daemon.said["reenter"] == {"run": 6, "confirm": AGAIN, "row": 413, "accept_gap": False}


def test_without_a_yes_nothing_is_loaded(daemon):
    done = take_up("6", "--row", "414", answer="n\n")

    assert done.exit_code == 1
    assert daemon.asked == []


@pytest.mark.parametrize(
    ("words", "told", "sentence"),
    [
        (["6"], NOT_KEPT, NOT_KEPT["why_not"]),
        (["6", "--row", "5000", "--origin-set"], BY_EYE, "nothing is left to etch"),
        (["99"], BY_EYE, "There is no run 99"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_loaded(daemon, words, told, sentence):
    daemon.answers["unfinished"] = answer_unfinished(told)

    done = take_up(*words)

    assert done.exit_code == 1
    assert sentence in done.output
    assert daemon.asked == []


def test_where_nothing_was_cut_short_it_says_so(daemon):
    daemon.tell("idle")

    done = take_up()

    assert (done.exit_code, again.NOTHING in done.output) == (1, True)


def test_a_refusal_is_said(daemon):
    daemon.refusal = Refused("refused", "Head position unknown.")

    done = take_up("6", "--row", "414", "--not-moved")

    assert done.exit_code == 1
    assert "Head position unknown." in done.output


@pytest.mark.parametrize("words", [["0"], ["six"], ["6", "--row", "0"], ["6", "--row", "x"]])
def test_what_is_no_number_of_an_etch_or_row_reaches_nobody(daemon, words):
    assert take_up(*words).exit_code == 2
    assert daemon.asked == []
