"""Every command that writes, on a card with no room and on one that can only be read.

What daemon and page write is tried with real processes in tests/processes/test_storage_faults.py,
what a change of release writes in tests/etchwarden/test_cut_changes.py.
"""

import re
import shutil

import pytest
from click.testing import CliRunner

from etchdaemon.logbook.logbook import Logbook
from etchwarden.__main__ import main
from etchweb.paired import Store
from logbooks import OPENED_UTC, start_run
from memory_card import memory_card
from photo_files import encoded, scene

ANSWERS = """
[machine]
port = "/dev/serial/by-id/usb-77"
[head]
name = "ten watts"
rated_optical_w = 10
spot_x_mm = 0.08
spot_y_mm = 0.06
max_s = 1000
max_feed_mm_per_min = 6000
acceleration_mm_per_s2 = 500
travel_x_mm = 400
travel_y_mm = 390.5
[board]
chip = "pinctrl-rp1"
[inputs]
lid = 16
[outputs]
beam_enable = 22
"""
OUR_OWN = "(ours)\nG21G90G94\nM4S0\nG0X1Y1\nG1X9F600S500\nM5\nG0X0Y0\nM2\n"

BEGUN = ("fresh/lock", "fresh/logbook.sqlite3", "records/lock")

# Who writes, and what a person types; {card} is the card, {here} another disk.
WRITERS = {
    "a job": "prepare {here}/photo.png -o {card}/job --width 20",
    "a job in the place of another": "prepare {here}/photo.png -o {card}/old --width 20 --replace",
    "a test tile": "card power -o {card}/tile --head practice-20w --steps 3 3",
    "an export": "export {card}/export --state {here}/records",
    "a backup": "backup {card} --state {here}/records",
    "a backup in the records": "backup --state {card}/records",
    "a restored logbook": "restore {here}/backup.sqlite3 --state {card}/records --yes",
    "an imported logbook": "import {here}/export --state {card}/fresh",
    "a pairing": "pair --folder {card}/page",
    "a machine's file": "configure left --folder {card} --answers {here}/answers.toml",
    "the picture of a way": "check {here}/drawing.nc --picture {card}/way.png",
    "an index": "check {here}/drawing.nc --index {card}/lines.json",
}


def say(words, tmp_path):
    typed = words.format(card=tmp_path / "card", here=tmp_path / "here").split()
    return CliRunner().invoke(main, typed)


@pytest.fixture(scope="module")
def prepared(tmp_path_factory):
    """What lies on the other disk, made once."""
    here = tmp_path_factory.mktemp("here")
    (here / "photo.png").write_bytes(encoded(scene(300, 200), "PNG"))
    (here / "answers.toml").write_text(ANSWERS)
    (here / "drawing.nc").write_text(OUR_OWN)
    (here / "records").mkdir()
    with Logbook.at(here / "records/logbook.sqlite3", utc_now=lambda: OPENED_UTC) as logbook:
        for _ in range(40):
            start_run(logbook)
    for words in (
        f"backup {here}/backup.sqlite3 --state {here}/records",
        f"export {here}/export --state {here}/records",
        f"prepare {here}/photo.png -o {here}/old --width 20",
    ):
        assert CliRunner().invoke(main, words.split()).exit_code == 0
    return here


@pytest.fixture
def card(tmp_path, prepared):
    (tmp_path / "here").symlink_to(prepared)
    with memory_card(tmp_path / "card") as card:
        shutil.copytree(prepared / "records", card.folder / "records")
        (card.folder / "fresh").mkdir()
        (card.folder / "page").mkdir()
        Store(card.folder / "page").note_served("0.0.0.0", 8080)
        shutil.copytree(prepared / "old", card.folder / "old")
        yield card


def contents(card):
    """Return what lies on the card, but for the empty book that an import may have begun."""
    names = [name for name in card.files() if name not in BEGUN]
    return {name: (card.folder / name).read_bytes() for name in names}


def told_in_a_sentence(done):
    assert done.exit_code in (1, 2), done.output
    assert isinstance(done.exception, SystemExit), done.exception
    assert re.search(r"Error: \S.*\.\n\Z", done.output, re.DOTALL), done.output


@pytest.mark.parametrize("leave_bytes", [0, 16_384])
@pytest.mark.parametrize("writer", WRITERS)
def test_without_room_a_command_says_so_leaves_no_half_file_and_works_again(
    writer, leave_bytes, card, tmp_path
):
    before = contents(card)
    card.fill(leave_bytes)

    done = say(WRITERS[writer], tmp_path)

    if done.exit_code:  # what is small may have found its room
        told_in_a_sentence(done)
        assert contents(card) == before
    assert done.exit_code or leave_bytes
    card.make_room()
    if done.exit_code:
        again = say(WRITERS[writer], tmp_path)
        assert again.exit_code == 0, again.output


@pytest.mark.parametrize("writer", WRITERS)
def test_on_a_card_that_can_only_be_read_a_command_says_so(writer, card, tmp_path):
    before = contents(card)
    card.make_read_only()

    done = say(WRITERS[writer], tmp_path)

    told_in_a_sentence(done)
    assert contents(card) == before
