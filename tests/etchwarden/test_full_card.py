"""Every command that writes, on a card with no room and on one that can only be read.

What daemon and page write is tried with real processes in tests/processes/test_storage_faults.py,
what a change of release writes in tests/etchwarden/test_cut_changes.py.
"""

import re
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from click.testing import CliRunner

from darkroom.camera import Shot, photograph
from darkroom.tile import SURFACES, etch
from etchdaemon.logbook.logbook import Logbook
from etchpath.foreign_job import write_foreign_job
from etchpath.preflight.inspected import ASSUMED
from etchpath.reentry.foreign import write_rest_of_file
from etchpractice.machine import PracticeMachine
from etchproof.layout.job import read_card_file
from etchwarden.__main__ import main
from etchweb.auth.store import Store
from etchweb.previews.store import draw_path, keep_picture
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.simulated_time import SimulatedTime
from etchwire.storing import fault_of_card
from support.fakes.memory_storage import memory_card
from support.harnesses.logbooks import OPENED_UTC, start_run
from support.samples.designs import JIG, MURAL, SIGN
from support.samples.photo_files import encoded, scene

pytestmark = pytest.mark.slow

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

HEAD = PRACTICE_HEADS["practice-20w"]
BEGUN = ("fresh/lock", "fresh/logbook.sqlite3", "records/lock")

# Where no greys were measured, other dots are not searched for only to say how long they take.
SETTINGS = " --head practice-20w --speed 3000 --power 60 --spacing 0.1"

# Who writes, and what a person types; {card} is the card, {here} another disk.
WRITERS = {
    "a job": "prepare {here}/photo.png -o {card}/job --width 20" + SETTINGS,
    "a job in the place of another": "prepare {here}/photo.png -o {card}/old --width 20 --replace"
    + SETTINGS,
    "a design's job": "design prepare {here}/sign.toml -o {card}/sign",
    "a design's picture": "design show {here}/sign.toml --picture {card}/sign.png",
    "a mural": "mural {here}/wall.toml {here}/photo.png -o {card}/wall",
    "a bench": "bench prepare {here}/jig.toml 1={here}/old -o {card}/bench",
    "a test card": "card power -o {card}/tile --head practice-20w --steps 3 3",
    "an export": "export {card}/export --state {here}/records",
    "a backup": "backup {card} --state {here}/records",
    "a backup in the records": "backup --state {card}/records",
    "a restored logbook": "restore {here}/backup.sqlite3 --state {card}/records --yes",
    "an imported logbook": "import {here}/export --state {card}/fresh",
    "a pairing": "pair --folder {card}/page",
    "a machine's file": "configure left --folder {card} --answers {here}/answers.toml",
    "the picture of a way": "check {here}/drawing.nc --picture {card}/way.png",
    "an index": "check {here}/drawing.nc --index {card}/lines.json",
    "what a test card showed": "read {here}/tile.jpg --card {card}/burnt --wiped",
}


def make_foreign(card, here):
    """Do as `load` does."""
    with TemporaryDirectory(dir=card) as made:
        write_foreign_job(here / "drawing.nc", Path(made), head=HEAD, surface="slate")


def leave_a_rest(card, here):
    """Do as the child does that writes what is left of a job, in a folder for a while."""
    with (
        TemporaryDirectory(dir=card) as made,
        (here / "drawing.nc").open("rb") as whole,
        Path(made, "rest.nc").open("wb") as rest,
    ):
        write_rest_of_file(whole, 5, rest, ASSUMED)


# What others have written, beside what is typed; each with the card's folder and the other disk.
PARTS = {
    "the way of a job that was handed in": lambda card, here: draw_path(
        here / "old", folder=card / "pictures", gcode_sha256="0" * 64
    ),
    "its picture": lambda card, here: keep_picture(
        here / "old/expected.png", folder=card / "pictures", gcode_sha256="0" * 64
    ),
    "another program's file, made a job for a while": make_foreign,
    "what is left of it": leave_a_rest,
    "what a job looks like in practice": lambda card, _: PracticeMachine().tile.save_picture(
        card / "tile.png", wiped=True
    ),
    "the practice machine's time": lambda card, _: SimulatedTime.create(card / "clock"),
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
    (here / "sign.toml").write_text(SIGN.partition('[[layer]]\nkind = "lettering"')[0])
    (here / "wall.toml").write_text(MURAL)
    (here / "jig.toml").write_text(JIG)
    (here / "records").mkdir()
    with Logbook.at(here / "records/logbook.sqlite3", utc_now=lambda: OPENED_UTC) as logbook:
        for _ in range(40):
            start_run(logbook)
    for words in (
        f"card power -o {here}/burnt --head practice-20w --steps 3 3",
        f"backup {here}/backup.sqlite3 --state {here}/records",
        f"export {here}/export --state {here}/records",
        f"prepare {here}/photo.png -o {here}/old --width 20{SETTINGS}",
    ):
        assert CliRunner().invoke(main, words.split()).exit_code == 0
    tile = etch(read_card_file(here / "burnt"), SURFACES["willing"])
    (here / "tile.jpg").write_bytes(
        photograph(tile, Shot(width_px=1600, height_px=1200)).getvalue()
    )
    return here


@pytest.fixture
def card(tmp_path, prepared):
    (tmp_path / "here").symlink_to(prepared)
    with memory_card(tmp_path / "card") as card:
        shutil.copytree(prepared / "records", card.folder / "records")
        (card.folder / "fresh").mkdir()
        (card.folder / "page").mkdir()
        Store(card.folder / "page").note_served("0.0.0.0", 8080)
        for name in ("old", "burnt"):
            shutil.copytree(prepared / name, card.folder / name)
        yield card


def contents(card):
    """Return what lies on the card, but for the empty book that an import may have begun."""
    names = [name for name in card.files() if name not in BEGUN]
    return {name: (card.folder / name).read_bytes() for name in names}


def told_in_a_sentence(done):
    assert done.exit_code in (1, 2), done.output
    assert isinstance(done.exception, SystemExit), done.exception
    assert re.search(r"Error: \S.*\.\n\Z", done.output, re.DOTALL), done.output


@pytest.mark.tries_writing(
    "etchdaemon/logbook/backup/backup.py",
    "etchdaemon/logbook/backup/sums.py",
    "etchdaemon/logbook/backup/exporting.py",
    "etchdaemon/logbook/backup/restoring.py",
    "etchpath/index.py",
    "etchpath/preflight/inspected.py",
    "etchpath/preflight/picture.py",
    "etchphoto/expected.py",
    "etchphoto/job/prepare.py",
    "etchphoto/job/folder.py",
    "etchphoto/layout/bench.py",
    "etchphoto/layout/mural_job.py",
    "etchphoto/layout/mural_plan.py",
    "etchphoto/layout/tile_picture.py",
    "etchproof/layout/job.py",
    "etchwarden/commands/backup.py",
    "etchwarden/commands/configure.py",
    "etchwarden/commands/design.py",
    "etchwarden/commands/export.py",
    "etchwarden/commands/read.py",
)
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


@pytest.mark.tries_writing(
    "etchpath/foreign_job.py",
    "etchpath/reentry/foreign.py",
    "etchpractice/tile/tile.py",
    "etchwarden/commands/load.py",
    "etchwire/simulated_time.py",
)
@pytest.mark.parametrize("part", PARTS)
def test_without_room_a_part_fails_by_the_card_leaves_no_half_file_and_works_again(
    part, card, tmp_path
):
    before = contents(card)
    card.fill()

    with pytest.raises(Exception, match=r"No space|disk is full") as fault:
        PARTS[part](card.folder, tmp_path / "here")

    assert "no room left" in (fault_of_card(fault.value) or "")
    assert contents(card) == before
    card.make_room()
    PARTS[part](card.folder, tmp_path / "here")


@pytest.mark.tries_writing("etchwarden/practice_session/output_files.py")
def test_practice_on_a_card_without_room_leaves_no_half_file(card, tmp_path):
    words = "practice --once --width 4 --speedup 2000 --out {card}/kept"
    card.fill()

    told_in_a_sentence(say(words, tmp_path))

    assert [name for name in card.files() if name.startswith("kept")] == []
