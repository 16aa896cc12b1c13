"""The first day: README's commands on a bare Debian, and what stands there afterwards."""

import re
import time

from board.shop import DAEMON, PAGE, readme_commands, type_command

STEADY_S = 60


def test_readmes_commands_install_a_board_that_its_own_doctor_finds_well(installed, board):
    said = board.run("etchwarden", "doctor", is_checked=False)

    assert len(readme_commands()) == len(installed.said) == 4
    assert "WRONG" not in said, said
    assert re.search(r"^well +left, daemon", said, re.MULTILINE), said


def test_installing_a_second_time_changes_nothing_and_succeeds(board):
    before = board.run("readlink", "/opt/etchwarden/current")

    said = type_command(board, readme_commands()[0])

    assert "Installed." in said
    assert board.run("readlink", "/opt/etchwarden/current") == before


def test_both_units_are_up_after_a_minute_and_after_a_restart_of_the_board(board):
    board.reboot()
    begun_s = time.monotonic()
    board.until(lambda: board.is_active(DAEMON) and board.is_active(PAGE), "daemon and page")

    board.until(lambda: time.monotonic() - begun_s > STEADY_S, "a minute")

    assert [board.show(unit, "ActiveState") for unit in (DAEMON, PAGE)] == ["active"] * 2
    assert [board.show(unit, "NRestarts") for unit in (DAEMON, PAGE)] == ["0"] * 2
