"""A job appears whole or not at all, and nothing is lost for it."""

import errno
from pathlib import Path

import pytest

from etchphoto.errors import JobNotWritable, PhotoUnreadable
from etchphoto.job.folder import new_job_folder


def write(folder, text, **options):
    with new_job_folder(folder, **options) as partial:
        (partial / "job.json").write_text(text)


def write_half(folder, trouble):
    with new_job_folder(folder, is_replacing=True) as partial:
        (partial / "job.json").write_text("half")
        raise trouble


def names_in(folder):
    return sorted(entry.name for entry in folder.iterdir())


def test_a_job_appears_when_it_is_whole(tmp_path):
    with new_job_folder(tmp_path / "job") as partial:
        (partial / "job.json").write_text("whole")
        assert not (tmp_path / "job").exists()

    assert (tmp_path / "job" / "job.json").read_text() == "whole"
    assert names_in(tmp_path) == ["job"]


def test_an_empty_folder_is_filled(tmp_path):
    (tmp_path / "job").mkdir()

    write(tmp_path / "job", "new")

    assert (tmp_path / "job" / "job.json").read_text() == "new"


def test_an_existing_job_is_kept_unless_asked_otherwise(tmp_path):
    write(tmp_path / "job", "old")

    with pytest.raises(JobNotWritable, match="already a job"):
        write(tmp_path / "job", "new")

    assert (tmp_path / "job" / "job.json").read_text() == "old"


def test_an_existing_job_is_replaced_when_asked(tmp_path):
    write(tmp_path / "job", "old")

    write(tmp_path / "job", "new", is_replacing=True)

    assert (tmp_path / "job" / "job.json").read_text() == "new"
    assert names_in(tmp_path) == ["job"]


@pytest.mark.parametrize("trouble", [OSError(errno.ENOSPC, "No space left"), KeyboardInterrupt()])
def test_trouble_half_way_leaves_the_old_job_and_no_rubbish(tmp_path, trouble):
    write(tmp_path / "job", "old")

    with pytest.raises((JobNotWritable, KeyboardInterrupt)):
        write_half(tmp_path / "job", trouble)

    assert (tmp_path / "job" / "job.json").read_text() == "old"
    assert names_in(tmp_path) == ["job"]


def test_a_full_disk_says_so(tmp_path):
    with (
        pytest.raises(JobNotWritable, match="the disk is full"),
        new_job_folder(tmp_path / "job"),
    ):
        raise OSError(errno.ENOSPC, "No space left on device")


def test_trouble_with_the_photo_is_not_called_trouble_with_the_folder(tmp_path):
    with (
        pytest.raises(PhotoUnreadable, match="card"),
        new_job_folder(tmp_path / "job"),
    ):
        raise PhotoUnreadable("the card cannot be read")


def test_a_folder_with_other_things_is_never_touched(tmp_path):
    (tmp_path / "thesis.txt").write_text("three years")

    with pytest.raises(JobNotWritable, match="other things"):
        write(tmp_path, "job", is_replacing=True)

    assert names_in(tmp_path) == ["thesis.txt"]


def test_a_file_in_the_way_is_never_touched(tmp_path):
    (tmp_path / "job").write_text("mine")

    with pytest.raises(JobNotWritable, match="is a file"):
        write(tmp_path / "job", "job", is_replacing=True)

    assert (tmp_path / "job").read_text() == "mine"


def test_a_place_that_is_not_there_says_so(tmp_path):
    with pytest.raises(JobNotWritable, match="make it first"):
        write(tmp_path / "nowhere" / "job", "job")


def test_a_place_that_takes_no_folder_says_so():
    with pytest.raises(JobNotWritable, match="may write to"):  # not even root makes folders there
        write(Path("/proc/job"), "job")
