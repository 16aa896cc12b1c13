"""The board by its service manager, which is played: what it is told, and what may fail."""

import pytest

from etchwarden.installation.board import SETTLING, LiveBoard
from etchwarden.installation.errors import StepFailed
from etchwarden.installation.paths import Places

pytestmark = pytest.mark.slow

PAGE = "etchwarden-web.service"


class PlayedSystem:
    """Notes what is run; `refuses` are the beginnings of commands that end with an error."""

    def __init__(self, *refuses):
        self.refuses = refuses
        self.told = []

    def __call__(self, command):
        told = " ".join(command)
        self.told.append(told)
        if told.startswith(self.refuses):
            raise StepFailed(f"{told} failed")
        return ""


@pytest.fixture
def places(tmp_path):
    """A board with the machines “left” and “right”."""
    places = Places(tmp_path)
    places.settings.mkdir(parents=True)
    for name in ("left", "right", "page"):
        (places.settings / f"{name}.toml").touch()
    return places


@pytest.fixture
def said():
    return []


@pytest.fixture
def board_with(places, said):
    def board_with(*refuses):
        system = PlayedSystem(*refuses)
        return LiveBoard(places, said.append, tell=system, has_units=True), system.told

    return board_with


def lay_units(places):
    folder = places.root / "etc/systemd/system"
    folder.mkdir(parents=True)
    for name in ("etchwarden-daemon@.service", PAGE):
        (folder / name).touch()


IS_ENABLED = "systemctl is-enabled --quiet etchwarden-daemon@"


def test_a_machine_that_its_owner_has_not_enabled_is_neither_started_nor_checked(board_with):
    board, told = board_with(f"{IS_ENABLED}right")

    board.start()
    board.faults()

    assert f"systemctl start --no-block etchwarden-daemon@left.service {PAGE}" in told
    assert told[-1].endswith("doctor --release --patience=60 --machine=left")
    assert not any("enable etchwarden-daemon" in line for line in told)


def test_the_page_starts_with_the_board_from_the_first_installation_on(board_with):
    board, told = board_with(IS_ENABLED)

    board.start()

    assert told[0] == f"systemctl enable {PAGE}"
    assert told[-1] == f"systemctl start --no-block {PAGE}"


def test_a_failed_self_check_is_told(board_with, places):
    board, _ = board_with(str(places.current))

    (fault,) = board.faults()

    assert "doctor" in fault


def test_a_file_that_the_release_before_refused_too_holds_no_update_up(board_with, places, said):
    before = places.previous / "bin/etchwarden"
    before.parent.mkdir(parents=True)
    before.touch()
    board, told = board_with(f"{before} configure right")

    board.faults()

    assert told[-1].endswith("--machine=left")
    assert "not in order before" in said[0]


def test_units_are_stopped_by_patterns_because_a_name_that_is_not_loaded_is_an_error(board_with):
    board, told = board_with()

    board.stop()

    assert told == ["systemctl stop etchwarden-daemon@*.service etchwarden-web*.service"]


@pytest.mark.parametrize(
    "refused", ["udevadm control", "udevadm trigger", "systemctl restart", "systemctl try-restart"]
)
def test_what_a_restart_of_the_board_does_as_well_may_fail_and_is_said(board_with, said, refused):
    board, told = board_with(refused)

    board.settle()

    assert told == [" ".join(command) for command in SETTLING]
    assert "Restart the board once" in said[0]


@pytest.mark.parametrize("refused", ["systemd-sysusers", "systemd-tmpfiles", "systemctl daemon"])
def test_users_folders_and_units_have_to_be_known(board_with, refused):
    board, _ = board_with(refused)

    with pytest.raises(StepFailed):
        board.settle()


def test_a_folder_that_plays_a_board_is_told_nothing(places):
    system = PlayedSystem()
    board = LiveBoard(places, lambda _said: None, tell=system)

    for verb in (board.stop, board.settle, board.start, board.faults, board.disable, board.forget):
        verb()

    assert system.told == []


def test_what_is_taken_away_does_not_come_back(board_with, places):
    lay_units(places)
    board, told = board_with()

    board.disable()

    assert told[0].startswith("systemctl stop ")
    assert told[1] == (
        f"systemctl disable etchwarden-daemon@left.service etchwarden-daemon@right.service {PAGE}"
    )


def test_what_an_attempt_that_was_cut_short_has_taken_away_is_not_disabled_again(board_with):
    board, told = board_with()

    board.disable()

    assert [line.split()[1] for line in told] == ["stop"]
