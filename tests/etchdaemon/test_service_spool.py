"""Jobs handed in: only what is of one piece gets in, and lines come out one by one."""

import dataclasses
import errno
import hashlib
import json
import os
from pathlib import Path

import numpy as np
import pytest

from etchdaemon.controller.events import BuildReported, StatusReported
from etchdaemon.controller.facts import Facts
from etchdaemon.controller.firmware import EIGHT_BIT
from etchdaemon.controller.settings import Settings
from etchdaemon.errors import JobRefused
from etchdaemon.service.job import compatibility as fitness
from etchdaemon.service.job.spool import Spool
from etchdaemon.service.run.feed import Feed
from etchpath.writer.dots import Order, write_job
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.retention import JOBS
from etchwire.sheet import GCODE_NAME, SHEET_NAME, read_sheet

PRACTICE_HEAD = PRACTICE_HEADS["practice-20w"]
PRACTICE_RECIPE = PRACTICE_RECIPES["practice-20w"]


@pytest.fixture
def job(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    bits = np.random.default_rng(1).random((40, 80)) < 0.4
    order = Order(title="noise", head=PRACTICE_HEAD, recipe=PRACTICE_RECIPE, halftone="none")
    with (folder / GCODE_NAME).open("wb") as file:
        sheet = write_job(bits, file, order)
    (folder / SHEET_NAME).write_text(sheet.to_json())
    return folder


@pytest.fixture
def spool(tmp_path):
    return Spool(tmp_path / "spool")


def _take_in(spool, folder):
    with (folder / GCODE_NAME).open("rb") as gcode, (folder / SHEET_NAME).open("rb") as sheet:
        return spool.take_in(gcode_fd=gcode.fileno(), sheet_fd=sheet.fileno())


def _rewrite(folder, gcode=None, **changes):
    """Change a job as somebody who knows what a sheet holds would."""
    sheet = read_sheet(folder)
    if gcode is not None:
        (folder / GCODE_NAME).write_bytes(gcode)
        changes |= {
            "gcode_sha256": hashlib.sha256(gcode).hexdigest(),
            "gcode_bytes": len(gcode),
            "gcode_lines": gcode.count(b"\n"),
        }
    (folder / SHEET_NAME).write_text(dataclasses.replace(sheet, **changes).to_json())


def test_a_job_is_copied_under_its_hash_and_says_where_the_head_ends(spool, job):
    taken = _take_in(spool, job)

    assert taken.gcode.read_bytes() == (job / GCODE_NAME).read_bytes()
    assert taken.gcode.parent.name == taken.sheet.gcode_sha256
    assert taken.ends_at_mm == (0.0, 0.0)


def test_what_happens_to_the_original_afterwards_changes_nothing(spool, job):
    taken = _take_in(spool, job)
    before = taken.gcode.read_bytes()

    (job / GCODE_NAME).write_bytes(b"M3S1000\n")

    assert taken.gcode.read_bytes() == before


def test_a_descriptor_that_was_read_already_is_wound_back(spool, job):
    with (job / GCODE_NAME).open("rb") as gcode, (job / SHEET_NAME).open("rb") as sheet:
        os.read(gcode.fileno(), 1000)

        taken = spool.take_in(gcode_fd=gcode.fileno(), sheet_fd=sheet.fileno())

    assert taken.gcode.stat().st_size == taken.sheet.gcode_bytes


def _truncate(job):
    path = job / GCODE_NAME
    path.write_bytes(path.read_bytes()[:-20])


def _append(job):
    with (job / GCODE_NAME).open("ab") as file:
        file.write(b"G1X300S1000\n")


def _change_one_byte(job):
    path = job / GCODE_NAME
    data = bytearray(path.read_bytes())
    data[data.index(b"S600") + 1] = ord("9")
    path.write_bytes(bytes(data))


def _shift_the_index(job):
    sheet = read_sheet(job)
    shifted = tuple(
        dataclasses.replace(entry, line=entry.line + 1) if place else entry
        for place, entry in enumerate(sheet.index)
    )
    _rewrite(job, index=shifted, end_line=sheet.end_line + 1)


def _insert(text):
    def change(job):
        data = (job / GCODE_NAME).read_bytes()
        _rewrite(job, gcode=data + text)

    return change


def _spoil_the_sheet(text):
    return lambda job: (job / SHEET_NAME).write_bytes(text)


def _write(**values):
    """Put `values` into the sheet as it lies there, whether a sheet may hold them or not."""

    def change(job):
        path = job / SHEET_NAME
        path.write_text(json.dumps(json.loads(path.read_text()) | values))

    return change


@pytest.mark.parametrize(
    ("spoil", "word"),
    [
        (_truncate, "changed or damaged"),
        (_append, "changed or damaged"),
        (_change_one_byte, "changed or damaged"),
        (_shift_the_index, "not of one piece"),
        (_insert(b"G1X1!\n"), "'!' may not be sent"),
        (_insert(b"G1X1 (caf\xc3\xa9)G\xc3\xa9\n"), "may not be sent"),
        (_insert(b"G1X1\x18\n"), "may not be sent"),
        (_insert(b"G1" + b"X1" * 60 + b"\n"), "no controller takes"),
        (_insert(b"G1 " + b"X1 " * 60 + b"\n"), "no controller takes"),
        (_insert(b"G1X1"), "not whole"),
        (_spoil_the_sheet(b""), "not readable JSON"),
        (_spoil_the_sheet(b"[]"), "not a job sheet"),
        (_spoil_the_sheet(b"\xff\xfe"), "not readable text"),
        (_spoil_the_sheet(b'{"format": "etchwarden-job", "version": 1}'), "incomplete"),
        (_write(gcode_sha256="../../../etc"), "SHA-256"),
        (_write(width_mm=1e308), "width_mm cannot be 1e[+]308"),
        (_write(rows=10**19), "rows cannot be 1000"),
        (_write(motion={"left_mm": 0, "bottom_mm": 0, "right_mm": 1, "top_mm": 1e300}), "top_mm"),
        (_write(title="\ud800"), "title cannot be"),
    ],
)
def test_a_job_that_is_not_of_one_piece_is_refused_and_leaves_nothing(spool, job, spoil, word):
    spoil(job)

    with pytest.raises(JobRefused, match=word):
        _take_in(spool, job)

    assert list(spool._folder.glob("**/*")) == []


def test_comments_and_blanks_in_a_job_are_let_in(spool, job):
    data = (job / GCODE_NAME).read_bytes()
    _rewrite(
        job, gcode=data + b"(what a day! is it?)\nG90 G0 X0 Y0 ; home\n" + b"(" + b"-" * 90 + b")\n"
    )

    assert _take_in(spool, job).sheet.gcode_bytes > len(data)


def test_a_spool_that_cannot_be_written_is_told_of(job, tmp_path):
    (tmp_path / "file").write_text("")

    with pytest.raises(JobRefused, match="cannot be stored"):
        _take_in(Spool(tmp_path / "file"), job)


def _fill(spool, job, many):
    """Take in so many different jobs; return their hashes."""
    taken = []
    for number in range(many):
        gcode = (job / GCODE_NAME).read_bytes() + b"M5\n"
        _rewrite(job, gcode=gcode, title=str(number))
        taken.append(_take_in(spool, job).sheet.gcode_sha256)
    return taken


def _names(spool):
    return {path.name for path in spool._folder.iterdir()}


def test_only_the_newest_jobs_are_kept(spool, job):
    taken = _fill(spool, job, JOBS.number + 3)

    assert len(_names(spool)) == JOBS.number
    assert taken[-1] in _names(spool)


def test_a_job_that_an_etch_may_be_taken_up_with_stays_however_many_come_after_it(tmp_path, job):
    first = _take_in(Spool(tmp_path / "spool"), job).sheet.gcode_sha256
    spool = Spool(tmp_path / "spool", needed=lambda: frozenset({first}))

    _fill(spool, job, JOBS.number + 3)

    assert first in _names(spool)
    assert len(_names(spool)) == JOBS.number + 1


def test_no_job_goes_while_the_logbook_cannot_tell_which_are_needed(tmp_path, job):
    spool = Spool(tmp_path / "spool", needed=lambda: None)

    taken = _fill(spool, job, JOBS.number + 3)

    assert _names(spool) == set(taken)


@pytest.mark.parametrize("at_s", [0.0, 4e9])
def test_a_clock_that_jumps_takes_neither_the_newest_jobs_nor_the_one_just_handed_in(
    tmp_path, job, at_s
):
    taken = _fill(Spool(tmp_path / "spool"), job, 3)
    for age, name in enumerate(reversed(taken)):
        os.utime(tmp_path / "spool" / name, (1e9 - age, 1e9 - age))

    taken += _fill(Spool(tmp_path / "spool", now_s=lambda: at_s), job, 1)

    assert _names(Spool(tmp_path / "spool")) == set(taken)


def test_a_job_is_on_disk_with_its_sheet_and_its_name_before_it_is_answered_for(tmp_path, job):
    synced = []

    def noted(descriptor):
        synced.append(Path(f"/proc/self/fd/{descriptor}").readlink().name)

    spool = Spool(tmp_path / "spool", fsync=noted)
    sha256 = _take_in(spool, job).sheet.gcode_sha256

    arriving = synced[2]
    assert arriving.startswith(".arriving-")
    assert synced == [GCODE_NAME, SHEET_NAME, arriving, sha256, "spool", tmp_path.name]
    synced.clear()
    _take_in(spool, job)
    assert synced == [GCODE_NAME, SHEET_NAME, sha256, "spool", tmp_path.name]


def test_handing_a_job_in_again_mends_one_that_was_cut_short_on_disk(spool, job):
    folder = _take_in(spool, job).gcode.parent
    (folder / GCODE_NAME).write_bytes(b"")
    (folder / SHEET_NAME).write_text('{"half')

    _take_in(spool, job)

    assert (folder / GCODE_NAME).read_bytes() == (job / GCODE_NAME).read_bytes()
    assert read_sheet(folder) == read_sheet(job)
    assert _names(spool) == {folder.name}


@pytest.mark.parametrize(
    ("code", "said"),
    [(errno.ENOSPC, "there is no room left in the box's storage"), (errno.EROFS, "only be read")],
)
@pytest.mark.parametrize("sync", range(6))
def test_a_card_that_takes_no_job_is_told_of_and_left_without_half_of_one(
    tmp_path, job, code, said, sync
):
    left = [sync]

    def failing(_descriptor):
        left[0] -= 1
        if left[0] < 0:
            raise OSError(code, os.strerror(code))

    spool = Spool(tmp_path / "spool", fsync=failing)
    with pytest.raises(JobRefused, match=f"^The job cannot be stored: .*{said}"):
        _take_in(spool, job)

    assert all(read_sheet(path) == read_sheet(job) for path in spool._folder.iterdir())
    left[0] = 10
    assert _take_in(spool, job).gcode.exists()


# Lines


def _feed(tmp_path, data):
    path = tmp_path / "lines"
    path.write_bytes(data)
    return Feed(path, lines=data.count(b"\n"))


def _all_lines(feed):
    lines = []
    while feed.last_line < feed.lines:
        lines += feed.take(127, until_line=feed.lines)
    feed.close()
    return lines


def test_every_line_comes_out_once_whatever_the_chunks(tmp_path):
    lines = [f"X{number}S{number % 7}".encode() for number in range(5000)]
    feed = _feed(tmp_path, b"".join(line + b"\n" for line in lines))

    assert _all_lines(feed) == lines


def test_no_more_is_handed_out_than_there_is_room_for(tmp_path):
    feed = _feed(tmp_path, b"X.1S600\n" * 100)

    assert len(feed.take(127, until_line=100)) == 15
    assert feed.take(7, until_line=100) == []
    assert len(feed.take(8, until_line=100)) == 1
    feed.close()


def test_feeding_ends_at_the_line_it_is_told_to(tmp_path):
    feed = _feed(tmp_path, b"X1\n" * 100)

    taken = feed.take(127, until_line=10)

    assert (len(taken), feed.last_line) == (10, 10)
    assert feed.take(127, until_line=10) == []
    feed.close()


def test_lines_that_say_nothing_are_passed_over_and_counted(tmp_path):
    feed = _feed(tmp_path, b"(a)\n\nG1 X1 ; there\n; end?\nM2\n")

    assert _all_lines(feed) == [b"G1X1", b"M2"]
    assert (feed.last_line, feed.lines_sent) == (5, 2)


def test_a_copy_that_has_become_shorter_is_noticed(tmp_path):
    path = tmp_path / "lines"
    path.write_bytes(b"X1\n")
    feed = Feed(path, lines=5)
    feed.take(127, until_line=1)

    with pytest.raises(JobRefused, match="ends before"):
        feed.take(127, until_line=5)
    feed.close()


# Fitness


def _facts(**settings):
    values = {30: "1000", 110: "10000", 130: "400", 131: "400"}
    values |= {int(name[1:]): value for name, value in settings.items()}
    return Facts(
        firmware=EIGHT_BIT,
        greeting="",
        report=StatusReported(state="Idle"),
        build=BuildReported("V", 15, 128),
        settings=Settings(values),
    )


def test_a_job_made_for_this_machine_suits_it(job):
    assert fitness.objections(read_sheet(job), _facts()) == ()


@pytest.mark.parametrize(
    ("settings", "word"),
    [
        ({"_30": "255"}, "counts power up to 1000, the controller up to 255"),
        ({"_110": "3000"}, "wants 4000 mm/min"),
        ({"_130": "5"}, "along x"),
        ({"_131": "3"}, "along y"),
    ],
)
def test_a_job_for_another_machine_is_refused_by_the_controllers_own_settings(job, settings, word):
    [sentence] = fitness.objections(read_sheet(job), _facts(**settings))

    assert word in sentence


def test_what_a_killed_daemon_left_half_written_is_cleared_away_and_jobs_stay(tmp_path):
    for name in (".arriving-abc", ".rest-abc", "ab" * 32):
        (tmp_path / "spool" / name).mkdir(parents=True)
        (tmp_path / "spool" / name / "job.gcode").write_text("half of it")

    Spool(tmp_path / "spool")

    assert [path.name for path in (tmp_path / "spool").iterdir()] == ["ab" * 32]
