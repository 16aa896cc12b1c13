"""The daemon's socket from outside: what reaches the loop and the logbook, and what does not."""

import os
import threading
from dataclasses import dataclass
from pathlib import Path

import pytest

from etchdaemon.errors import CommandRefused, JobRefused, LogbookUnavailable
from etchdaemon.rpc.dispatcher import Dispatcher
from etchdaemon.rpc.methods import METHODS, OF_LOGBOOK
from etchwire.calls.call import Done, Right, file_names, parameters_of
from etchwire.calls.catalogue import CATALOGUE_NOTES
from etchwire.calls.json_values import to_json_value
from etchwire.calls.machine import LoadedJob
from etchwire.calls.orders import ORDER_NOTES
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.errors import Refused
from support.harnesses.plain_client import PlainClient

LONG_S = 20.0
WISHES = [
    kind.method() for kind in METHODS if kind.right is Right.OPERATE and not file_names(kind)
]  # fmt: skip
OTHERS = {kind.method() for kind in (*OF_LOGBOOK, *CATALOGUE_NOTES, *ORDER_NOTES)}
NEEDED = {
    "reenter": {"run": 7, "confirm": "origin set again"},
    "set_feed": {"percent": 110},
    "set_power": {"percent": 90},
    "set_dose": {"percent": 105},
    "arm": {"answers": {"dry": True}},
    "reset": {"names": ["lid closed"]},
    "move_to": {"x_mm": 10, "y_mm": 2.5},
    "move_by": {"x_mm": -0.1, "y_mm": 0},
    "try_output": {"name": "lamp"},
}
QUESTIONS = {
    "runs": {
        "before": None, "limit": 500, "head": "", "surface": "", "since": "", "until": "",
        "text": "", "verdict": "",
    },
    "run": {"id": 3},
    "run_rows": {"id": 3, "from_row": 0, "limit": 500},
    "run_events": {"id": 3, "after": 0, "limit": 500},
    "backup": {},
    "backups": {},
    "heads": {},
    "time_line": {"head": "shed", "surface": "slate", "before": "", "limit": 500},
    "save_head": {"head": PRACTICE_HEADS["practice-20w"].to_table(), "notes": "", "who": ""},
    "save_verdict": {
        "run": 3, "verdict": "good", "cause": "", "note": "", "photo": "", "who": "",
        "pocket": None,
    },
}  # fmt: skip
GIVEN = {"id", "head", "surface", "run", "verdict"}


@dataclass(frozen=True)
class Machine:
    controller: None = None


@dataclass(frozen=True)
class Shown:
    """As much of a snapshot as the dispatcher looks at."""

    sequence: int
    machine: Machine = Machine()


class Loop:
    """The daemon's loop as the desk sees it."""

    def __init__(self):
        self.sequence = 1
        self.commands = []
        self.loaded = []
        self.fault = None
        self.is_starting = threading.Event()
        self.may_start = threading.Event()
        self.may_start.set()

    def snapshot(self):
        return Shown(self.sequence)

    def request(self, call):
        command = call.method()
        self.commands.append(command)
        if self.fault:
            raise self.fault
        if command == "start":
            self.is_starting.set()
            assert self.may_start.wait(LONG_S)
        if command == "load":
            self.loaded = [os.pread(file, 100, 0) for file in (call.gcode_fd, call.sheet_fd)]
            return LoadedJob(job_sha256="ab")
        return Done()

    def call_on_change(self, listener):
        self.tell = listener

    def change(self):
        self.sequence += 1
        self.tell()


class Logbook:
    def __init__(self):
        self.fault = None

    def ask(self, call):
        if self.fault:
            raise self.fault
        return {"question": call.method(), **to_json_value(parameters_of(call))}

    note = ask


@pytest.fixture
def loop():
    loop = Loop()
    yield loop
    loop.may_start.set()


@pytest.fixture
def logbook():
    return Logbook()


@pytest.fixture
def path(tmp_path, loop, logbook):
    with Dispatcher(tmp_path / "s", loop, logbook):
        yield tmp_path / "s"


@pytest.fixture
def client(path):
    with PlainClient(path, timeout_s=LONG_S) as client:
        yield client


def test_the_status_is_the_loop_s_snapshot(client):
    assert client.call("status") == {"sequence": 1, "machine": {"controller": None}}


@pytest.mark.parametrize("wish", [wish for wish in WISHES if wish not in OTHERS])
def test_a_wish_reaches_the_loop(client, loop, wish):
    assert client.call(wish, **NEEDED.get(wish, {})) == {}
    assert loop.commands == [wish]


@pytest.mark.parametrize("question", QUESTIONS)
def test_a_question_reaches_the_logbook_complete(client, question):
    given = {name: value for name, value in QUESTIONS[question].items() if name in GIVEN}

    assert client.call(question, **given) == {"question": question, **QUESTIONS[question]}


def test_a_job_arrives_as_two_open_files_which_are_closed_afterwards(tmp_path, client, loop):
    before = len(list(Path("/proc/self/fd").iterdir()))
    (tmp_path / "g").write_text("M2")
    (tmp_path / "j").write_text("{}")

    with open(tmp_path / "g") as gcode, open(tmp_path / "j") as sheet:
        assert client.load(gcode.fileno(), sheet.fileno()) == {"job_sha256": "ab"}

    assert loop.loaded == [b"M2", b"{}"]
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_files_of_a_job_that_is_refused_are_closed_too(client, loop):
    loop.fault = JobRefused("The job and its sheet do not belong together.")
    with open("/dev/null") as file:
        before = len(list(Path("/proc/self/fd").iterdir()))

        with pytest.raises(Refused) as refusal:
            client.load(file.fileno(), file.fileno())

        assert len(list(Path("/proc/self/fd").iterdir())) == before
    assert refusal.value.kind == "job"


def test_a_job_from_a_pipe_is_refused_instead_of_waited_for(tmp_path, client, loop):
    (tmp_path / "sheet").write_bytes(b"{}")
    reads, writes = os.pipe()
    with open(reads) as pipe, open(writes, "w"), (tmp_path / "sheet").open("rb") as sheet:
        for files in ((pipe.fileno(), sheet.fileno()), (sheet.fileno(), pipe.fileno())):
            with pytest.raises(Refused, match="a pipe may never end") as refusal:
                client.load(*files)

    assert refusal.value.kind == "job"
    assert loop.commands == []


def test_a_job_without_its_files_does_not_reach_the_loop(client, loop):
    with pytest.raises(Refused, match="2 open files must come along"):
        client.call("load")

    assert loop.commands == []


class Particular(CommandRefused):
    pass


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (CommandRefused("Nothing is loaded."), "refused"),
        (Particular("Nothing is loaded."), "refused"),
        (JobRefused("The power is over 100 %."), "job"),
        (LogbookUnavailable("The disk is full."), "busy"),
    ],
)
def test_what_the_loop_refuses_arrives_with_its_sentence(client, loop, fault, kind):
    loop.fault = fault

    with pytest.raises(Refused) as refusal:
        client.call("start")

    assert (refusal.value.kind, refusal.value.message) == (kind, str(fault))


def test_a_fault_in_the_loop_s_answer_is_not_told_in_detail(client, loop):
    loop.fault = KeyError("secret")

    with pytest.raises(Refused) as refusal:
        client.call("start")

    assert refusal.value.kind == "internal"
    assert "secret" not in refusal.value.message


def test_a_logbook_that_cannot_be_read_does_not_keep_anybody_from_stopping(client, loop, logbook):
    logbook.fault = LogbookUnavailable("The logbook's disk has not answered.")

    with pytest.raises(Refused, match="has not answered"):
        client.call("runs")
    assert client.call("stop") == {}


def test_a_stop_passes_a_start_that_still_waits(path, client, loop):
    loop.may_start.clear()
    starter = threading.Thread(target=client.call, args=("start",))
    starter.start()
    assert loop.is_starting.wait(LONG_S)

    with PlainClient(path, timeout_s=LONG_S) as other:
        assert other.call("stop") == {}

    assert loop.commands == ["start", "stop"]
    loop.may_start.set()
    starter.join(LONG_S)


@pytest.mark.parametrize(
    ("method", "params", "sentence"),
    [
        ("etch", {}, "there is no method 'etch'"),
        ("start", {"force": True}, "start takes no parameter 'force'"),
        ("run", {}, "'id' is missing"),
        ("run_rows", {"id": "1"}, "'id' must be a whole number"),
    ],
)
def test_what_is_not_in_the_table_does_not_reach_the_loop(client, loop, method, params, sentence):
    with pytest.raises(Refused, match=sentence):
        client.call(method, **params)

    assert loop.commands == []


def test_a_subscriber_sees_each_change_without_asking(client, loop):
    snapshots = client.subscribe()
    first = next(snapshots)
    loop.change()
    second = next(snapshots)

    assert (first["sequence"], second["sequence"]) == (1, 2)
