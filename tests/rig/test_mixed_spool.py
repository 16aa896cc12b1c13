"""Job and sheet in the spool that do not belong together: refused and told, never run."""

import shutil

import pytest

from etchdaemon.errors import CommandRefused, JobRefused
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from rig.bench import patch

NOT_MOVED = "tile and head have not moved"


def _spooled(rig):
    (folder,) = (rig.folder / "spool").iterdir()
    return folder


def _cut_short(rig):
    rig.start(rig.make_job(patch(10, 200)))
    rig.etch_until_row(4)
    rig.ask("stop")
    rig.wait_for_the_end()
    rig.get_ready()


def _put(rig, name, bits):
    """Put a file of another job in the place of the one that is kept."""
    shutil.copyfile(rig.make_job(bits) / name, _spooled(rig) / name)


def test_a_sheet_of_another_job_is_not_taken_in(rig):
    rig.get_ready()
    one, other = rig.make_job(patch(3, 40)), rig.make_job(patch(4, 40))
    shutil.copyfile(other / SHEET_NAME, one / SHEET_NAME)

    with pytest.raises(JobRefused, match=r"not of one piece|changed or damaged"):
        rig.load(one)
    assert rig.state == "idle"


@pytest.mark.slow
@pytest.mark.parametrize("bits", [patch(3, 40), patch(12, 200)], ids=["shorter", "longer"])
def test_an_etch_whose_kept_sheet_is_another_job_s_is_not_offered_by_a_daemon_started_anew(
    rig, bits
):
    _cut_short(rig)
    _put(rig, SHEET_NAME, bits)

    assert rig.reentry.newest() is None
    told = rig.request("unfinished", run=1, row=5)
    assert (told["may"], told["rest"]) == (False, None)
    assert "no longer kept" in told["why_not"]
    with pytest.raises(CommandRefused, match="no longer kept"):
        rig.ask("reenter", run=1, confirm=NOT_MOVED, row=5)


@pytest.mark.slow
@pytest.mark.parametrize("bits", [patch(3, 40), patch(12, 200)], ids=["shorter", "longer"])
def test_an_etch_whose_kept_job_is_another_is_refused_until_the_right_one_is_handed_in_again(
    rig, bits
):
    _cut_short(rig)
    _put(rig, GCODE_NAME, bits)

    with pytest.raises(JobRefused):
        rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None)
    assert [path.name for path in (rig.folder / "spool").glob(".*")] == []

    rig.load(rig.folder / "job-0")
    assert rig.ask("reenter", run=1, confirm=NOT_MOVED, row=None)["job_sha256"]


@pytest.mark.parametrize("bits", [patch(3, 40), patch(12, 200)], ids=["shorter", "longer"])
def test_a_loaded_job_whose_copy_was_changed_since_it_was_checked_is_not_started(rig, bits):
    rig.set_origin()
    rig.load(rig.make_job(patch(10, 200)))
    rig.step(3)
    _put(rig, GCODE_NAME, bits)

    with pytest.raises(JobRefused):
        rig.ask("start")
    assert rig.records.runs == []

    rig.load(rig.folder / "job-0")
    rig.step(3)
    rig.ask("start")
    assert rig.state == "etching"


def test_a_loaded_job_whose_copy_is_gone_is_not_started(rig):
    rig.get_ready()
    rig.load()
    rig.step(3)
    shutil.rmtree(_spooled(rig))

    with pytest.raises(JobRefused):
        rig.ask("start")
    assert rig.records.runs == []
