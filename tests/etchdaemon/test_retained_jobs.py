"""Which jobs the spool may not throw away, told from the runs there were."""

from types import SimpleNamespace

import pytest

from etchdaemon.errors import LogbookUnavailable
from etchdaemon.service.job.retained_jobs import UNFINISHED_KEPT, retained_jobs
from etchwire.calls.history import Runs


class History:
    def __init__(self, *runs):
        self.runs = runs

    def ask(self, call):
        assert isinstance(call, Runs)
        if not self.runs:
            raise LogbookUnavailable("The disk is full.")
        return SimpleNamespace(runs=sorted(self.runs, key=lambda run: -run.id))


def run(number, ended="stopped", **more):
    plain = {"verdict": None, "continues_run_id": None, "gcode_sha256": f"job {number}"}
    return SimpleNamespace(**plain | {"id": number, "ended": ended} | more)


@pytest.mark.parametrize(
    ("runs", "needed"),
    [
        ([run(1)], {"job 1"}),
        ([run(1, ended="failed"), run(2)], {"job 1", "job 2"}),
        ([run(1, ended=None)], {"job 1"}),  # under way
        ([run(1, ended="complete")], set()),
        ([run(1, verdict="pale")], set()),
        ([run(1), run(2, ended="complete", continues_run_id=1)], set()),
        ([run(1), run(2, continues_run_id=1)], {"job 2"}),
    ],
)
def test_a_job_is_needed_while_its_etch_may_be_taken_up(runs, needed):
    assert retained_jobs(History(*runs)) == needed


def test_of_very_many_that_were_never_finished_the_newest_count():
    many = [run(number) for number in range(1, UNFINISHED_KEPT + 5)]

    assert retained_jobs(History(*many)) == {f"job {number}" for number in range(5, 15)}


def test_a_logbook_that_cannot_be_asked_says_nothing_of_what_may_go():
    assert retained_jobs(History()) is None
