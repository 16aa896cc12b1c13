"""Files of the owner's that cannot be used, a machine's and the page's: named, with what to do."""

import os
import re
import tomllib

import pytest
from click.testing import CliRunner

from etchdaemon.configuration.loading import load_configuration
from etchwarden.commands import daemon, page
from etchwarden.configuring.page_settings import PageSettings
from etchwarden.shared.file_errors import UNFIT_FILE, ended_by
from etchwire.configuration.faults import Fault, FaultyConfiguration, Reason
from etchwire.configuration.source import MOST_BYTES, Source
from support.harnesses.install_bench import BOARD

NOBODY = 65534


def make_folder(path):
    path.mkdir()


def make_pipe(path):
    os.mkfifo(path)


def make_dangling_link(path):
    path.symlink_to("gone.toml")


def make_circle(path):
    path.symlink_to(path.name)


def make_nothing(_path):
    pass


def content(data):
    return lambda path: path.write_bytes(data)


UNFIT = [
    ("empty", content(b""), Reason.EMPTY, "is empty", "configure"),
    ("blank", content(b" \r\n\n"), Reason.EMPTY, "is empty", "configure"),
    ("zeros", content(bytes(512)), Reason.EMPTY, "is empty", "configure"),
    (
        "half zeros",
        content(b"port = 1\n\n" + bytes(9)),
        Reason.NOT_TEXT,
        "line 3",
        "Put a copy back",
    ),
    ("picture", content(b"\x89PNG\r\n\x1a\n\xff"), Reason.NOT_TEXT, "line 1", "Save the file as"),
    ("utf-16", content("port = 80\n".encode("utf-16")), Reason.NOT_TEXT, "line 1", "UTF-8"),
    ("latin-1", content(b"# first\nname = 'Z\xfcge'\n"), Reason.NOT_TEXT, "line 2", "UTF-8"),
    ("half edited", content(b"# x\nport = \n"), Reason.NOT_TOML, "line 2", "a bracket is missing"),
    ("cut off", content(b'[machine]\nport = "/dev/'), Reason.NOT_TOML, "line 2", "a quote"),
    ("twice", content(b"port = 1\nport = 2\n"), Reason.NOT_TOML, "line 2", "in order"),
    ("deep", content(b"x = " + b"[" * 9999), Reason.NOT_TOML, "in brackets", "a bracket"),
    ("digits", content(b"# x\ny = " + b"9" * 5000), Reason.NOT_TOML, "line 2", "5000 digits"),
    ("large", content(b"[a]\nb = %d" % 2**64), Reason.NOT_TOML, "“a.b”", "too large"),
    ("huge", content(b"#" * (MOST_BYTES + 1)), Reason.TOO_LONG, "1.0 MB", "Put a copy back"),
    ("folder", make_folder, Reason.NO_FILE, "is a folder", "move it away"),
    ("pipe", make_pipe, Reason.NO_FILE, "a pipe", "Put a copy back"),
    ("dangling", make_dangling_link, Reason.ABSENT, "gone.toml", "Put a copy back"),
    ("circle", make_circle, Reason.NO_FILE, "circle", "Put a copy back"),
    ("absent", make_nothing, Reason.ABSENT, "no such file", "configure"),
]
READERS = [load_configuration, PageSettings.at]


def refusal_of(read, path):
    with pytest.raises(FaultyConfiguration) as refused:
        read(path)
    return refused.value


@pytest.mark.parametrize("read", READERS, ids=["machine", "page"])
@pytest.mark.parametrize(
    ("make", "reason", "said", "advice"),
    [line[1:] for line in UNFIT],
    ids=[line[0] for line in UNFIT],
)
def test_an_unfit_file_is_named_with_what_to_do(tmp_path, read, make, reason, said, advice):
    path = tmp_path / "left.toml"
    make(path)

    refused = refusal_of(read, path)

    assert [fault.reason for fault in refused.faults] == [reason]
    assert all(words in str(refused) for words in (str(path), said, advice)), str(refused)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can be somebody else for a moment")
@pytest.mark.parametrize("read", READERS, ids=["machine", "page"])
def test_a_file_that_this_user_may_not_read_is_named_with_what_to_do(tmp_path, read):
    path = tmp_path / "left.toml"
    path.write_text("port = 80\n")
    os.seteuid(NOBODY)
    try:
        refused = refusal_of(read, path)
    finally:
        os.seteuid(0)

    assert [fault.reason for fault in refused.faults] == [Reason.FORBIDDEN]
    assert f"chmod a+r {path}" in str(refused)


FAULTY = [
    (load_configuration, "[inputs]\n# none\nlit = {pin = 3}", "line 3: inputs.lit", "mean “lid”?"),
    (load_configuration, "[inputs]\nlid = {pin = 99}", "line 2: inputs.lid.pin", "from 0 to 53"),
    (load_configuration, "[inputs.lid]\n\npin = 'x'", "line 3: inputs.lid.pin", "whole number"),
    (load_configuration, "[inpust]\nlid = 3", "line 1: inpust", "“inputs”?"),
    (load_configuration, "[board]\nchip='a'\n[outputs]\nlamp = {pin = 4}\nbuzzer = {pin = 4}",
     "line 5: buzzer", "pin 4 is already"),
    (load_configuration, "[ head ]\nname = 'ten'", "line 1: head", "lacks the entry"),
    (load_configuration, "[rules.'cool_enough']\noff = true", "line 2: rules.cool_enough.off",
     "cannot be removed"),
    (PageSettings.at, "host = '0.0.0.0'\nprot = 80", "line 2: prot", "mean “port”?"),
    (PageSettings.at, "\n\nport = 'x'", "line 3: port", "whole number"),
    (PageSettings.at, "[alerts]\n[alerts.mail]\nhots = 'x'", "line 3: alerts.mail.hots", "“host”?"),
    (PageSettings.at, "[alerts]\n[alerts.mail]\nhost = 'x'", "line 2: alerts.mail.to", "missing"),
    (PageSettings.at, "[alerts.webhook]\nurl = 'gopher:x'", "line 2: alerts.webhook.url", "http"),
    (PageSettings.at, "alerts = 1", "line 1: alerts", "table"),
    (PageSettings.at, "[fleet]\nbrokr = 'x'", "line 2: fleet.brokr", "“broker”"),
    (PageSettings.at, "[fleet]\nport = 'x'", "line 2: fleet.port", "whole number"),
    (PageSettings.at, "[fleet]\n", "line 1: fleet.broker", "missing"),
]  # fmt: skip


@pytest.mark.parametrize(("read", "text", "where", "said"), FAULTY)
def test_a_fault_names_file_line_and_what_would_be_right(tmp_path, read, text, where, said):
    path = tmp_path / "left.toml"
    path.write_text(text)

    refused = str(refusal_of(read, path))

    assert f"{path}, {where}" in refused
    assert said in refused


@pytest.mark.parametrize("read", READERS, ids=["machine", "page"])
@pytest.mark.parametrize("change", [("", "\ufeff"), ("\n", "\r\n")], ids=["mark", "line ends"])
def test_what_an_editor_adds_does_no_harm(tmp_path, read, change):
    path = tmp_path / "left.toml"
    text = "# nothing\n" if read is load_configuration else BOARD["page.toml"].decode()
    path.write_bytes(text.replace(*change, 1 if change[0] == "" else -1).encode())

    assert read(path)


def test_every_entry_of_a_file_is_found_in_its_line():
    text = re.sub(r"^# (?=\[|\w+ = )", "", BOARD["page.toml"].decode(), flags=re.MULTILINE)
    source = Source.of(text)

    for table in ("alerts.webhook", "alerts.mail", "fleet"):
        values = tomllib.loads(text)
        for part in table.split("."):
            values = values[part]
        for key in values:
            line = text.splitlines()[source.line_of(f"{table}.{key}") - 1]
            assert line.startswith(f"{key} = ")


@pytest.fixture
def start(tmp_path):
    """Start the daemon, or the page, with a file."""

    def start(command, path):
        places = {
            daemon: ["--box", path, "--socket", tmp_path / "s", "--state", tmp_path / "state"],
            page: ["--settings", path, "--folder", tmp_path / "state"],
        }
        return CliRunner().invoke(command.command, [str(word) for word in places[command]])

    return start


@pytest.mark.parametrize("command", [daemon, page], ids=["daemon", "page"])
@pytest.mark.parametrize("text", ["", "prot = 3\n", "port = \n", f"port = {'9' * 5000}\n"])
def test_a_daemon_or_page_that_cannot_use_its_file_ends_with_a_code_of_its_own(
    start, tmp_path, command, text
):
    (tmp_path / "left.toml").write_text(text)

    done = start(command, tmp_path / "left.toml")

    assert done.exit_code == UNFIT_FILE
    assert str(tmp_path / "left.toml") in done.output


def test_a_card_that_cannot_be_read_just_now_is_worth_another_start():
    unreadable = Fault(Reason.UNREADABLE, "left.toml", "it cannot be read: Input/output error.")

    assert ended_by(FaultyConfiguration([unreadable])).exit_code == 1


@pytest.mark.parametrize("unit", ["etchwarden-daemon@.service", "etchwarden-web.service"])
def test_the_service_manager_does_not_try_again_what_only_a_person_can_put_right(unit):
    assert f"\nRestartPreventExitStatus={UNFIT_FILE}\n" in BOARD[unit].decode()
