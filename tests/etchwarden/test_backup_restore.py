"""`etchwarden backup` and `restore`, as somebody at the board uses them."""

import subprocess

import pytest
from click.testing import CliRunner

from etchdaemon.hardware.state_lock import state_lock
from etchdaemon.logbook.logbook import Logbook
from etchdaemon.rpc.dispatcher import Dispatcher
from etchwarden.commands import backup as backup_module
from etchwarden.commands import restore as restore_module
from support.harnesses.logbooks import LONG_S, OPENED_UTC, start_run


class NoLoop:
    """Nobody wishes anything of the machine here."""

    def snapshot(self):
        return {}

    def call_on_change(self, listener):
        pass


@pytest.fixture
def state(tmp_path):
    folder = tmp_path / "state"
    folder.mkdir()
    with Logbook.at(folder / "logbook.sqlite3", utc_now=lambda: OPENED_UTC) as logbook:
        start_run(logbook)
    return folder


@pytest.fixture
def socket(state, tmp_path):
    path = state / "logbook.sqlite3"
    with (
        Logbook.at(path, utc_now=lambda: OPENED_UTC, confirm_timeout_s=LONG_S) as logbook,
        Dispatcher(tmp_path / "s", NoLoop(), logbook),
    ):
        yield tmp_path / "s"


def backup(*arguments):
    return CliRunner().invoke(backup_module.command, [str(argument) for argument in arguments])


def restore(*arguments, answer=None):
    arguments = [str(argument) for argument in arguments]
    return CliRunner().invoke(restore_module.command, arguments, input=answer)


def test_a_running_daemon_makes_one_and_a_checked_copy_lies_on_the_stick(socket, state, tmp_path):
    stick = tmp_path / "stick"
    stick.mkdir()

    done = backup("--daemon", socket, stick)

    assert done.exit_code == 0, done.output
    (copy,) = stick.glob("*.sqlite3")
    assert copy.read_bytes() == (state / "backups" / copy.name).read_bytes()
    assert (stick / f"{copy.name}.sha256").exists()
    assert f"{copy}: 1 etches, " in done.output
    assert "checked" in done.output


def test_without_a_place_the_daemon_s_own_folder_has_it(socket, state):
    done = backup("--daemon", socket)

    (made,) = (state / "backups").glob("*.sqlite3")
    assert str(made) in done.output


def test_a_file_that_is_there_is_not_overwritten(socket, tmp_path):
    (tmp_path / "mine").write_text("mine")

    done = backup("--daemon", socket, tmp_path / "mine")

    assert done.exit_code == 1
    assert "Name another" in done.output
    assert (tmp_path / "mine").read_text() == "mine"


@pytest.mark.parametrize("place", ["missing/folder/copy", "/proc/copy"])
def test_a_place_that_cannot_be_written_is_named(socket, tmp_path, place):
    done = backup("--daemon", socket, tmp_path / place)

    assert done.exit_code == 1
    assert place.split("/")[-1] in done.output


def test_without_a_daemon_the_logbook_is_copied_all_the_same(state, tmp_path):
    done = backup("--state", state, tmp_path / "copy.sqlite3")

    assert done.exit_code == 0, done.output
    assert restore(tmp_path / "copy.sqlite3", "--state", state, "--yes").exit_code == 0


def test_a_daemon_that_runs_is_not_gone_behind(socket, state):
    with state_lock(state):
        done = backup("--state", state)

    assert done.exit_code == 1
    assert "in use" in done.output


@pytest.mark.parametrize("arguments", [(), ("--daemon", "s", "--state", "f")])
def test_one_way_to_the_logbook_has_to_be_told(arguments):
    assert backup(*arguments).exit_code == 2


@pytest.mark.parametrize("given", [("--daemon", "nobody"), ("--state", "nothing")])
def test_where_there_is_nothing_a_sentence_says_so(given, tmp_path):
    done = backup(given[0], tmp_path / given[1])

    assert done.exit_code == 1
    assert "there is no" in done.output.lower()


def test_a_person_can_check_a_copy_with_the_system_s_own_program(state, tmp_path):
    backup("--state", state, tmp_path / "copy.sqlite3")

    checked = subprocess.run(
        ["sha256sum", "--check", "--strict", "copy.sqlite3.sha256"],
        cwd=tmp_path, capture_output=True, text=True, check=True, env={"LC_ALL": "C"},
    )  # fmt: skip

    assert checked.stdout == "copy.sqlite3: OK\n"


def test_a_backup_that_the_card_has_spoilt_is_not_copied(socket, state, tmp_path, monkeypatch):
    def made_and_spoilt(_):
        made = made_by_daemon(socket)
        with made.open("ab") as file:
            file.write(b"more")
        return made

    made_by_daemon = backup_module.by_daemon
    monkeypatch.setattr(backup_module, "by_daemon", made_and_spoilt)
    (tmp_path / "stick").mkdir()

    done = backup("--daemon", socket, tmp_path / "stick")

    assert done.exit_code == 1
    assert "has changed" in done.output
    assert list((tmp_path / "stick").iterdir()) == []


@pytest.mark.parametrize(("is_proved", "said"), [(True, ""), (False, "could not be checked")])
def test_it_is_said_whether_every_letter_was_checked(state, tmp_path, is_proved, said):
    backup("--state", state, tmp_path / "copy.sqlite3")
    if not is_proved:
        (tmp_path / "copy.sqlite3.sha256").unlink()

    done = restore(tmp_path / "copy.sqlite3", "--state", state, "--yes")

    assert done.exit_code == 0
    assert said in done.output
    assert ("copy.sqlite3.sha256" in done.output) is not is_proved


@pytest.mark.parametrize(("answer", "code"), [("y\n", 0), ("n\n", 1)])
def test_a_backup_is_shown_beside_the_logbook_before_it_takes_its_place(
    state, tmp_path, answer, code
):
    backup("--state", state, tmp_path / "copy.sqlite3")

    done = restore(tmp_path / "copy.sqlite3", "--state", state, answer=answer)

    assert "holds 1 etches" in done.output
    assert done.exit_code == code
    assert len(list(state.glob("logbook.replaced-*"))) == (code == 0)


def test_nothing_is_restored_under_a_daemon_that_runs(state, tmp_path):
    backup("--state", state, tmp_path / "copy.sqlite3")

    with state_lock(state):
        done = restore(tmp_path / "copy.sqlite3", "--state", state, "--yes")

    assert done.exit_code == 1
    assert "Stop it first" in done.output
    assert list(state.glob("logbook.replaced-*")) == []
