"""Records that last, with real processes on a memory card that fills up, fails or is cut off.

A cut is imitated by copying the records while they are written, file by file and in either order,
as a disk may have had them; tests/etchdaemon/test_power_cut.py mixes sectors.
"""

import random
import re
import shutil
import sqlite3
import time
from contextlib import ExitStack, closing

import pytest

from etchwire.errors import Refused
from etchwire.sheet import GCODE_NAME
from support.fakes.memory_storage import memory_card, worn_card
from support.harnesses.storage_box import Box, until

LARGE = b"\xff\xd8\xff" + b"x" * 900_000  # more than a request may take of the page's memory


@pytest.fixture
def card(tmp_path):
    with memory_card(tmp_path / "card") as card:
        yield card


@pytest.fixture
def box(tmp_path, card):
    with ExitStack() as parts:
        yield Box(tmp_path, card, parts)


@pytest.mark.tries_writing(
    "etchdaemon/logbook/backup/backups.py", "etchdaemon/service/job/spool.py"
)
def test_on_a_card_that_fills_up_the_etch_goes_on_and_everybody_is_told_in_a_sentence(box, card):
    box.make_job(30)
    box.start_daemon()
    box.start_page()
    assert box.browse("/new", {}, photo=LARGE)[0] == 415  # it has waited on the card: see TMPDIR
    before = box.etch()
    card.fill()
    files = card.files()

    box.until(lambda status: status["logbook_trouble"])
    for photo in (LARGE, LARGE[:9000]):
        status, said = box.browse("/new", {}, photo=photo)
        assert (status, "no room left" in said) == (507, True), said
    box.ask("backup")
    until(lambda: box.ask("backups")["share"] is None)
    assert "Make room" in box.ask("backups")["trouble"]
    ended = box.until(lambda status: status["state"] == "ended")
    assert ended["run"]["ended"] == "complete"
    assert "disk is full" in ended["logbook_trouble"]
    with pytest.raises(Refused, match="no room left"):
        box.load()
    assert "nothing is started" in ended["storage"]["low"]
    assert card.files() == files

    card.make_room()
    box.until(lambda status: status["logbook_trouble"] is None)
    run = box.ask("run", id=before)
    assert (run["ended"], run["etched_rows"]) == ("complete", 30)
    assert len(box.ask("run_rows", id=before)["rows"]) == 30
    box.load()
    for name in ("daemon", "page"):
        assert "Traceback" not in box.log(name)


@pytest.mark.tries_writing(
    "etchdaemon/hardware/state_lock.py",
    "etchdaemon/logbook/schema/opening.py",
    "etchwarden/commands/daemon.py",
)
def test_on_a_card_that_was_full_before_the_first_start_the_box_watches_until_there_is_room(
    box, card
):
    box.make_job(3)
    card.fill()

    box.start_daemon()

    assert "disk is full" in box.ask("status")["logbook_trouble"]
    with pytest.raises(Refused, match="no room left"):
        box.load()
    assert "disk is full" in box.refusal("runs")

    card.make_room()
    box.until(lambda status: status["logbook_trouble"] is None)
    box.load()
    assert "Traceback" not in box.log("daemon")


@pytest.mark.tries_writing("etchpath/reentry/remainder.py", "etchpath/reentry/remainder_files.py")
def test_an_etch_is_taken_up_on_a_card_that_was_full_once_there_is_room(box, card):
    box.make_job(400)
    box.start_daemon()
    run = box.etch()
    box.ask("stop")
    box.until(lambda status: status["state"] == "ended")
    taken_up = {"run": run, "confirm": "origin set again", "row": 5}
    card.fill()
    files = card.files()

    assert "no room left" in box.refusal("reenter", **taken_up)
    assert card.files() == files
    box.end(box.daemon)
    box.start_daemon()  # which finds the run all the same, or says why it cannot look
    trouble = box.ask("status")["logbook_trouble"]
    assert trouble is None or "disk is full" in trouble
    assert {name for name in files if "spool" in name} <= set(card.files())

    card.make_room()
    box.until(lambda status: status["logbook_trouble"] is None)
    box.ask("reenter", **taken_up)
    assert box.ask("status")["job"]["rows"] == 400
    assert "Traceback" not in box.log("daemon")


def test_on_a_card_that_can_only_be_read_the_box_watches_and_says_so(box, card):
    box.make_job(3)
    box.start_daemon()
    box.start_page()
    box.load()
    box.end(box.page)
    box.end(box.daemon)
    card.make_read_only()

    box.start_daemon()
    box.start_page()

    told = box.ask("status")["logbook_trouble"]
    assert re.fullmatch(r"The logbook .*\.", told)
    with pytest.raises(Refused, match="only be read"):
        box.load()
    assert "cannot be opened" in box.refusal("runs")
    assert box.browse("/")[0] == 200
    status, said = box.browse("/new", {}, photo=b"\xff\xd8\xff")
    assert (status, "only be read" in said) == (507, True), said
    for name in ("daemon", "page"):
        assert "Traceback" not in box.log(name)

    card.mend()
    box.until(lambda status: status["logbook_trouble"] is None)
    box.load()


def test_when_the_card_fails_in_mid_run_the_etch_goes_on_and_what_was_kept_before_is_there_after(
    tmp_path,
):
    with worn_card(tmp_path / "card") as card, ExitStack() as parts:
        box = Box(tmp_path, card, parts)
        box.make_job(40)
        box.start_daemon()
        box.start_page()
        run = box.etch()
        box.until(lambda _: box.ask("run_rows", id=run)["rows"])
        known = len(box.ask("run_rows", id=run)["rows"])

        card.fail()

        told = box.until(lambda status: status["logbook_trouble"])["logbook_trouble"]
        assert "cannot be written" in told
        ended = box.until(lambda status: status["state"] == "ended")
        assert (ended["run"]["ended"], ended["run"]["etched_rows"]) == ("complete", 40)
        with pytest.raises(Refused, match="only be read"):
            box.load()
        box.ask("backup")
        until(lambda: box.ask("backups")["share"] is None)
        assert "only be read" in box.ask("backups")["trouble"]
        status, said = box.browse("/new", {}, photo=b"\xff\xd8\xff")
        assert (status, "only be read" in said) == (507, True), said
        for name in ("daemon", "page"):
            assert "Traceback" not in box.log(name)

        box.end(box.page)
        box.end(box.daemon)
        card.mend()
        box.start_daemon()
        assert box.ask("status")["logbook_trouble"] is None
        found = box.ask("run", id=run)
        assert (found["ended"], "near row" in found["because"]) == ("failed", True), found
        assert len(box.ask("run_rows", id=run)["rows"]) >= known
        assert box.ask("runs")["notes"] == []
        box.load()


def test_a_logbook_that_another_program_holds_is_taken_when_it_is_let_go(box):
    box.start_daemon()
    box.end(box.daemon)
    with closing(sqlite3.connect(box.records / "logbook.sqlite3", isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE").fetchall()
        other.execute("BEGIN EXCLUSIVE")
        box.start_daemon()
        told = box.ask("status")["logbook_trouble"]
        refused = box.refusal("runs")
        other.execute("COMMIT")

    assert "another program has it open" in told
    assert "another program has it open" in refused
    box.until(lambda status: status["logbook_trouble"] is None)
    assert box.ask("runs")["runs"] == []


def test_after_a_power_cut_the_next_start_says_what_happened_and_offers_the_rest(box):
    chance = random.Random(8)
    box.make_job(400)
    box.start_daemon()
    run = box.etch()
    cuts = []
    for number in range(2):
        time.sleep(chance.uniform(0.05, 0.8))  # the moment of the cut
        answered = len(box.ask("run_rows", id=run)["rows"])
        cuts.append((box.folder / f"cut-{number}", answered))
        _copy(box.records, cuts[-1][0], is_wal_first=number % 2 == 0)
    box.daemon.kill()
    box.daemon.wait()

    for folder, answered in cuts:
        box.start_daemon(folder)
        status = box.ask("status")
        found = box.ask("run", id=run)
        assert status["logbook_trouble"] is None
        assert len(box.ask("run_rows", id=run)["rows"]) >= answered
        assert found["ended"] == "failed"
        assert "near row" in found["because"] or "before its first" in found["because"]
        assert status["unfinished"]["run"] == run
        left = box.ask("unfinished", run=run)
        assert (left["may"], left["why_not"]) == (True, None)
        box.ask("reenter", run=run, confirm="origin set again", row=found["etched_rows"])
        assert box.ask("runs")["notes"] == []
        box.daemon.kill()
        box.daemon.wait()


def _copy(records, target, *, is_wal_first):
    """Copy the records as a disk may have had them: the book, or its WAL, a moment earlier."""
    target.mkdir()
    names = ["logbook.sqlite3", "logbook.sqlite3-wal"]
    for name in reversed(names) if is_wal_first else names:
        shutil.copyfile(records / name, target / name)
    shutil.copytree(records / "spool", target / "spool")
    (target / "spool" / ".arriving-cut").mkdir()
    (target / "spool" / ".arriving-cut" / GCODE_NAME).write_bytes(b"")
