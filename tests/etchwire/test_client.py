"""Asking the daemon in types: what goes out by name or as a file, and what comes back."""

import contextlib
import os

import pytest

from etchwire.calls.call import Done
from etchwire.calls.client import DaemonClient
from etchwire.calls.history import LogbookNote, Runs, RunsPage
from etchwire.calls.machine import Load, LoadedJob, SetFeed
from etchwire.errors import AnotherRelease, DaemonAbsent
from etchwire.transport.handlers import Handlers
from etchwire.transport.server import LineServer

NOTE = {"at_utc": "2026-11-28T06:00:00Z", "text": "The logbook was begun."}


class Daemon:
    """Answers as it was told, and keeps what it heard."""

    def __init__(self):
        self.answers = {}
        self.heard = []
        self.read = []

    def answer(self, asked):
        self.heard.append((asked.request.method, dict(asked.request.params)))
        for file in asked.take_files(len(asked.files)):
            self.read.append(os.pread(file, 100, 0))
            os.close(file)
        return self.answers[asked.request.method]


@pytest.fixture
def daemon():
    return Daemon()


@pytest.fixture
def client(tmp_path, daemon):
    handlers = Handlers(answer=daemon.answer, greeting={})
    with contextlib.ExitStack() as parts:
        parts.enter_context(LineServer(tmp_path / "s", handlers))
        yield parts.enter_context(DaemonClient(tmp_path / "s"))


def test_parameters_go_out_by_their_names_and_the_answer_comes_back_typed(client, daemon):
    daemon.answers["runs"] = {"runs": [], "next_before": 4, "notes": [NOTE]}

    page = client.ask(Runs(limit=3, head="shed"))

    assert page == RunsPage(runs=(), next_before=4, notes=(LogbookNote(**NOTE),))
    assert daemon.heard == [
        ("runs", {
            "before": None, "limit": 3, "head": "shed", "surface": "", "since": "", "until": "",
            "text": "", "verdict": "",
        })
    ]  # fmt: skip


def test_an_empty_answer_says_that_it_is_done(client, daemon):
    daemon.answers["set_feed"] = {}

    assert client.ask(SetFeed(percent=110)) == Done()


def test_a_job_goes_along_as_files_and_not_by_name(client, daemon, tmp_path):
    daemon.answers["load"] = {"job_sha256": "ab"}
    (tmp_path / "gcode").write_bytes(b"G1")
    (tmp_path / "sheet").write_bytes(b"{}")

    with (tmp_path / "gcode").open("rb") as gcode, (tmp_path / "sheet").open("rb") as sheet:
        loaded = client.ask(Load(gcode_fd=gcode.fileno(), sheet_fd=sheet.fileno()))

    assert loaded == LoadedJob(job_sha256="ab")
    assert (daemon.heard, daemon.read) == ([("load", {})], [b"G1", b"{}"])


@pytest.mark.parametrize("answer", [{"runs": [], "next_before": None}, {}, [], None, "gone"])
def test_an_answer_of_another_release_is_told_as_that(client, daemon, answer):
    daemon.answers["runs"] = answer

    with pytest.raises(AnotherRelease, match="different releases: update both together"):
        client.ask(Runs())


def test_a_snapshot_of_another_release_ends_the_watching(client, daemon):
    daemon.answers["subscribe"] = {"sequence": 1, "state": "idle"}

    with pytest.raises(DaemonAbsent, match="missing required field `at_utc`"):
        next(client.watch())
