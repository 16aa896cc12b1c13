"""Daemon and page stopped, killed and ended by their service manager, on a booted board."""

import signal

import pytest

from board.shop import DAEMON, PAGE, PAGE_URL, UNITS, USER, session_on
from etchpath.writer.dots import Order, write_job
from etchwarden.practice_session.process_group import ProcessGroup
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import patch
from support.harnesses.page_by_http import PageByHttp
from support.harnesses.plain_client import PlainClient

ROWS = 400  # the unit is stopped long before its end


@pytest.fixture
def session(board, tmp_path):
    with ProcessGroup(tmp_path) as household:
        yield session_on(board, household, tmp_path)


@pytest.mark.parametrize("unit", [DAEMON, PAGE])
def test_a_program_that_stands_still_is_ended_by_the_watchdog_and_started_again(board, unit):
    before = board.show(unit, "MainPID")

    board.run("systemctl", "kill", f"--signal={signal.SIGSTOP.name}", unit)
    board.until(lambda: has_come_back(board, unit, before), f"{unit} again")

    assert "Watchdog timeout" in board.journal(), board.journal()
    assert board.show(unit, "NRestarts") == "1"


@pytest.mark.parametrize("unit", [DAEMON, PAGE])
def test_a_program_that_is_killed_is_started_again(board, unit):
    before = board.show(unit, "MainPID")

    board.run("systemctl", "kill", "--kill-whom=main", f"--signal={signal.SIGKILL.name}", unit)
    board.until(lambda: has_come_back(board, unit, before), f"{unit} again")

    assert board.show(unit, "NRestarts") == "1"
    assert answers(board)


def test_after_the_daemons_death_the_unit_runs_the_program_that_drives_outputs_off(board):
    before = board.show(DAEMON, "MainPID")

    board.run("systemctl", "kill", "--kill-whom=main", f"--signal={signal.SIGKILL.name}", DAEMON)
    board.until(lambda: has_come_back(board, DAEMON, before), "the daemon again")

    assert "outputs" in board.run("journalctl", "--no-pager", "-o", "cat", "-t", "etchwarden-safe")


def test_a_stranger_on_the_board_is_refused_at_the_socket(board):
    ask = "import socket; socket.socket(socket.AF_UNIX).connect('/run/etchwarden/left/api.sock')"

    said = board.run("python3", "-c", ask, user="nobody", is_checked=False)

    assert "PermissionError" in said, said
    assert board.fails("runuser", "-u", USER, "--", "python3", "-c", ask)


def test_stopping_the_unit_in_mid_etch_puts_the_beam_out_and_ends_the_record(board, session):
    begin_a_long_etch(board, session)

    board.run("systemctl", "stop", DAEMON)
    with session.ask_machine() as machine:
        is_lit = machine.call("state")["is_beam_enabled"]
    board.run("systemctl", "start", DAEMON)
    board.until(lambda: board.is_active(DAEMON), "the daemon")
    with PlainClient(session.socket) as daemon:
        run = daemon.call("runs", limit=1)["runs"][0]

    assert is_lit is False
    assert run["ended"] == "stopped"


@pytest.mark.parametrize(("unit", "file"), [(DAEMON, "left.toml"), (PAGE, "page.toml")])
def test_a_program_whose_file_is_nonsense_is_not_started_again_and_the_doctor_says_why(
    board, unit, file
):
    board.run("rm", "-r", f"{UNITS}/{DAEMON}.d")  # the practice port's daemon reads no file
    board.path(f"/etc/etchwarden/{file}").write_text("[machine\n")

    board.run("systemctl", "daemon-reload")
    board.run("systemctl", "restart", unit, is_checked=False)
    board.until(lambda: board.show(unit, "ActiveState") == "failed", "the failed unit")

    assert board.show(unit, "ExecMainStatus") == "78"
    assert f"/etc/etchwarden/{file}" in board.run("etchwarden", "doctor", is_checked=False)


def begin_a_long_etch(board, session):
    session.job.mkdir()
    order = Order(
        title="patch",
        head=PRACTICE_HEADS["practice-20w"],
        recipe=PRACTICE_RECIPES["practice-20w"],
        halftone="none",
    )
    with (session.job / GCODE_NAME).open("wb") as file:
        sheet = write_job(patch(ROWS, 300), file, order)
    (session.job / SHEET_NAME).write_text(sheet.to_json())
    session.begin_etch()
    board.until(lambda: row_of(session) > 3, "the third row")


def row_of(session):
    with PlainClient(session.socket) as daemon:
        return (daemon.call("status")["run"] or {}).get("row") or 0


def has_come_back(board, unit, before):
    return board.is_active(unit) and board.show(unit, "MainPID") not in {before, "0"}


def answers(board):
    board.until(lambda: "Six digits" in PageByHttp(PAGE_URL).look("/pair"), "the page's answer")
    return True
