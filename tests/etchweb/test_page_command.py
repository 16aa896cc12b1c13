"""The commands `page` and `pair`, as far as they go without serving anything."""

import re
import time

import pytest
from click.testing import CliRunner

from etchwarden.commands import page, pair
from etchweb.auth.codes import new_token
from etchweb.auth.roles import Role
from etchweb.auth.store import Store
from etchweb.server.host_names import addresses, is_loopback, names_of, own_addresses
from etchweb.serving import listen_at


@pytest.fixture
def run():
    def run(command, *arguments):
        return CliRunner().invoke(command, list(map(str, arguments)))

    return run


@pytest.fixture
def taken():
    with listen_at("127.0.0.1", 0) as listener:
        listener.listen()
        yield listener.getsockname()[1]


def test_a_taken_port_is_named_with_another_to_choose(run, tmp_path, taken):
    result = run(page.command, "--daemon", "x", "--folder", tmp_path, "--port", taken)

    assert result.exit_code == 1
    assert f"Port {taken} on 127.0.0.1 is in use by another program." in result.output
    assert f"--port {taken + 1}" in result.output


@pytest.mark.parametrize("host", ["192.0.2.7", "nowhere.invalid"])
def test_an_address_of_another_machine_is_refused(run, tmp_path, host):
    result = run(page.command, "--daemon", "x", "--folder", tmp_path, "--host", host)

    assert result.exit_code == 1
    assert "--host" in result.output


def test_a_folder_that_cannot_be_made_is_named(run, tmp_path):
    (tmp_path / "file").touch()

    result = run(page.command, "--daemon", "x", "--folder", tmp_path / "file" / "page")

    assert result.exit_code == 1
    assert f"cannot start: {tmp_path / 'file' / 'page'}: Not a directory." in result.output


def test_a_database_that_cannot_be_used_is_named_and_not_its_folder(run, tmp_path):
    (tmp_path / "page.sqlite3").mkdir()

    result = run(page.command, "--daemon", "x", "--folder", tmp_path, "--port", 0)

    assert result.exit_code == 1
    assert f"cannot start: {tmp_path / 'page.sqlite3'} cannot be used: " in result.output


def test_the_part_of_the_folder_that_is_in_the_way_is_named(run, tmp_path):
    settings = tmp_path / "page.toml"
    settings.write_text('host = "127.0.0.1"\nport = 0\nmachines = ["left"]\n')
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / "left").touch()

    result = run(page.command, "--settings", settings, "--folder", tmp_path / "kept")

    assert result.exit_code == 1
    assert f"cannot start: {tmp_path / 'kept' / 'left'}: File exists." in result.output


def test_the_page_is_never_open_to_everybody(run, tmp_path):
    result = run(
        page.command, "--daemon", "x", "--folder", tmp_path, "--host", "0.0.0.0",
        "--open-to-loopback",
    )  # fmt: skip

    assert result.exit_code == 2
    assert "comes through 0.0.0.0" in result.output


def test_pairing_before_the_page_was_served_says_how_to_serve_it(run, tmp_path):
    result = run(pair.command, "--folder", tmp_path)

    assert result.exit_code == 1
    assert f"etchwarden page --folder {tmp_path}" in result.output


@pytest.mark.parametrize("role", Role)
def test_pairing_prints_a_code_that_lets_one_phone_in(run, tmp_path, role):
    store = Store(tmp_path)
    store.note_served("127.0.0.1", 8099)

    result = run(pair.command, "--folder", tmp_path, "--role", role)

    (code,) = re.findall(r"(\d{3} \d{3})", result.output)
    assert "http://127.0.0.1:8099/pair" in result.output
    assert store.use_code(code.replace(" ", ""), time.time()).role is role


def test_a_page_that_phones_cannot_reach_is_told(run, tmp_path):
    Store(tmp_path).note_served("127.0.0.1", 8099)

    assert "--host 0.0.0.0" in run(pair.command, "--folder", tmp_path).output


def test_phones_are_listed_and_shut_out_by_number(run, tmp_path):
    store = Store(tmp_path)
    assert "No phone is paired." in run(pair.command, "--folder", tmp_path, "--list").output
    store.add_phone(new_token(), "Ann’s phone", Role.WATCH, time.time())
    assert "Ann’s phone" in run(pair.command, "--folder", tmp_path, "--list").output

    number = store.phones()[0].id
    assert run(pair.command, "--folder", tmp_path, "--forget", number).exit_code == 0

    assert store.phones() == ()
    assert run(pair.command, "--folder", tmp_path, "--forget", number).exit_code == 1


@pytest.mark.parametrize(
    ("host", "is_it"),
    [
        ("127.0.0.1", True),
        ("127.9.9.9", True),
        ("localhost", True),
        ("::1", True),
        ("0.0.0.0", False),
        ("192.168.0.7", False),
        ("box.local", False),
    ],
)
def test_what_only_this_machine_reaches(host, is_it):
    assert is_loopback(host) is is_it


def test_a_page_for_this_machine_answers_to_its_names_alone():
    assert names_of("127.0.0.1") == ("localhost", "127.0.0.1", "[::1]")


def test_a_page_for_everybody_answers_to_each_address_of_the_box_and_to_no_other():
    names = names_of("0.0.0.0")

    assert set(own_addresses()) <= set(names)
    assert not any(is_loopback(address) for address in own_addresses())
    assert "0.0.0.0" not in names


def test_an_address_of_six_is_written_in_brackets():
    assert addresses("::1", 8080) == ("http://[::1]:8080/",)
