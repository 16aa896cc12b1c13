"""The bundle for asking for help: words that are nobody's business, planted wherever there is room.

A whole board in a folder, with a daemon that answers on a real socket.
"""

import json
import os
import re
import sqlite3
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from click.testing import CliRunner

from etchwarden.commands import doctor
from etchwarden.installation.paths import Places
from etchwire.transport.handlers import Handlers
from etchwire.transport.server import LineServer
from support.fakes.fake_daemon import JOB, MACHINE, RUN, snapshot_table
from support.fakes.fake_machine import SETTINGS as READ_SETTINGS

# A piece of each stands in everything that is planted.
PRIVATE = ("Dorothea", "dorothea", "hush-hush", "gartenweg")
SECRET = "hush-hush-4711"
PHOTO = "Dorothea-on-the-beach.jpg"
# What a person wrote in file after file; the first is in order, the others are not.
FILES = {
    "in order": f"""
[machine]
port = "/dev/serial/by-id/usb-Dorothea_{SECRET}"
[head]
name = "Dorothea's ten watts"
rated_optical_w = 10
spot_x_mm = 0.08
spot_y_mm = 0.06
is_spot_measured = true
max_s = 1000
max_feed_mm_per_min = 6000
acceleration_mm_per_s2 = 500
travel_x_mm = 400
travel_y_mm = 400
[board]
chip = "chip-of-dorothea"
[inputs]
lid = {{pin = 16}}
[outputs]
beam_enable = {{pin = 22}}
[attendance]
closing_time = "18:30"
[rules.cool_enough]
trip_delay_s = 0.5
because = "Dorothea says so"
""",
    "unknown name": '[dorothea]\nbecause = "hush-hush"\n',
    "wrong kind": f'[inputs]\nlid = "{SECRET}"\n[board]\nchip = 3\n',
    "no port": '[machine]\nport = "gartenweg 7"\n',
    "not TOML": f"[machine]\nport = {SECRET}\n",
}
PAGE = f"""
host = "127.0.0.1"
port = 1
machines = ["left", "gartenweg"]
[alerts.webhook]
url = "http://gartenweg.example/{SECRET}"
secret_file = "{{secret}}"
[alerts.mail]
host = "mail.gartenweg.example"
sender = "dorothea@gartenweg.example"
to = ["dorothea@gartenweg.example"]
user = "dorothea"
password_file = "{{secret}}"
[fleet]
broker = "broker.gartenweg.example"
user = "dorothea"
password_file = "{{secret}}"
"""
PAGES = {
    "in order": PAGE,
    "unknown name": PAGE.replace("sender", "dorothea"),
    "wrong kind": f'port = "{SECRET}"\n',
    "not TOML": f"host = {SECRET}\n",
}
STATUS = snapshot_table(
    "complete",
    sentence=f"Ready for {PHOTO}.",
    logbook_trouble="/home/dorothea/records/logbook.sqlite3: disk I/O error.",
    job={**JOB, "title": PHOTO, "surface": "Dorothea's tiles"},
    run={**RUN, "because": "Dorothea opened the lid"},
    machine={
        **MACHINE,
        "port": f"/dev/serial/by-path/{SECRET}",
        "sentence": "Dorothea's machine is ready.",
    },
)
SETTINGS = {
    **READ_SETTINGS,
    "version": "1.1h.20190825:Dorothea gartenweg",
    "warnings": ["/dev/serial/by-id/usb-dorothea is slow, says dorothea@gartenweg.example."],
}
ANSWERS = {"status": STATUS, "settings": SETTINGS}


@pytest.fixture
def root():
    """A folder with a short name: the way to a socket has 108 characters at most (unix(7))."""
    with TemporaryDirectory() as folder:
        yield Path(folder)


@pytest.fixture
def board(root):
    """A board whose machine is called “gartenweg”; every folder holds something private."""
    places = Places(root)
    secret = places.settings / "secrets/dorothea"
    secret.parent.mkdir(parents=True)
    secret.write_text(SECRET)
    secret.chmod(0o640)
    for folder in (places.records / "gartenweg/spool" / SECRET, places.page_records / "pictures"):
        folder.mkdir(parents=True)
        (folder / PHOTO).write_bytes(b"Dorothea")
    with closing(sqlite3.connect(places.page_records / "page.sqlite3")) as book:
        book.execute("CREATE TABLE phone (name TEXT, token TEXT)")
        book.execute("INSERT INTO phone VALUES ('Dorothea', ?)", (SECRET,))
        book.commit()
    with closing(sqlite3.connect(places.records / "gartenweg/logbook.sqlite3")) as book:
        book.execute("CREATE TABLE run (title TEXT)")
        book.execute("INSERT INTO run VALUES (?)", (PHOTO,))
        book.execute("CREATE TABLE customer_order (customer TEXT, note TEXT)")
        book.execute("INSERT INTO customer_order VALUES ('Dorothea', 'gartenweg 7')")
        book.commit()
    (places.settings / "page.toml").write_text(PAGE.format(secret=secret))
    (places.settings / "gartenweg.toml").write_text(FILES["in order"])
    return places


@pytest.fixture
def bundle_of(board, tmp_path):
    def bundle_of():
        path = tmp_path / "for-help.json"
        arguments = ["--root", str(board.root), "--bundle", str(path)]
        CliRunner().invoke(doctor.command, arguments, catch_exceptions=False)
        return path.read_text()

    return bundle_of


def private_words_in(text):
    return [word for word in PRIVATE if word in text]


def test_with_a_daemon_that_answers_nothing_private_is_in_it(board, bundle_of):
    socket = board.socket("gartenweg")
    socket.parent.mkdir(parents=True)
    reception = Handlers(answer=lambda asked: ANSWERS[asked.request.method], greeting={})
    with LineServer(socket, reception):
        text = bundle_of()

    told = json.loads(text)["machines"]["machine 1"]
    assert private_words_in(text) == []
    assert (told["version"], told["status"]["state"]) == ("1.1h.20190825", "ended")
    assert "a path is slow, says somebody" in told["settings"]["warnings"][0]


@pytest.mark.parametrize("kind", FILES)
def test_whatever_stands_in_a_machines_file_nothing_private_is_in_it(board, bundle_of, kind):
    (board.settings / "gartenweg.toml").write_text(FILES[kind])

    text = bundle_of()

    assert private_words_in(text) == []
    reasons = json.loads(text)["machines"]["machine 1"]["fault_reasons"]
    assert bool(reasons) is (kind != "in order")


@pytest.mark.parametrize("kind", PAGES)
def test_whatever_stands_in_the_pages_file_nothing_private_is_in_it(board, bundle_of, kind):
    secret = board.settings / "secrets/dorothea"
    (board.settings / "page.toml").write_text(PAGES[kind].format(secret=secret))
    secret.chmod(0o644)  # which is said, and names the file

    text = bundle_of()

    assert private_words_in(text) == []
    assert '"sentence": null' in text


def test_what_was_planted_is_seen_by_whoever_stands_at_the_board(board):
    """Otherwise the tests above would prove nothing."""
    (board.settings / "gartenweg.toml").write_text(FILES["unknown name"])

    done = CliRunner().invoke(doctor.command, ["--root", str(board.root)])

    assert private_words_in(done.output) == ["dorothea", "gartenweg"]


def test_neither_the_boards_name_nor_its_addresses_are_in_it(bundle_of):
    text = bundle_of()

    assert os.uname().nodename not in text
    assert not re.search(r"\d+\.\d+\.\d+\.\d+|[0-9a-f]{1,4}::", text)
