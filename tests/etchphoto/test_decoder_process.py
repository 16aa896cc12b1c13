"""The process that decodes a stranger's photo: what it cannot do, and how its end is told."""

import ctypes
import os
import select
import signal
import socket
import subprocess
import sys

import numpy as np
import pytest

from etchphoto.decoder.process import decoder_process
from etchphoto.errors import DecodersNotLocked, NotAPhoto, PhotoDamaged, PhotoTooLarge

PATIENCE_S = 30.0
PTRACE_ATTACH = 16  # sys/ptrace.h


class Stranger:
    """What somebody would try who has taken a decoder over, each a way out of its process."""

    def __init__(self, folder):
        self.folder = folder
        self.daemon = socket.socket(socket.AF_UNIX)
        self.daemon.bind(str(folder / "api.sock"))
        self.daemon.listen()
        self.open_line = socket.socket(socket.AF_UNIX)
        self.open_line.connect(str(folder / "api.sock"))
        self.secret = folder / "secret"
        self.secret.write_text("who is paired")
        self.library = ctypes.CDLL(None, use_errno=True)

    def connects_to_the_daemon(self):
        socket.socket(socket.AF_UNIX).connect(str(self.folder / "api.sock"))

    def speaks_on_a_line_that_is_open(self):
        os.write(self.open_line.fileno(), b"stop")

    def opens_a_socket_of_the_network(self):
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM)

    def reads_who_is_paired(self):
        self.secret.read_text()

    def writes_who_is_paired(self):
        self.secret.write_text("I am")

    def removes_a_file(self):
        self.secret.unlink()

    def starts_a_program(self):
        os.execv("/bin/true", ["true"])

    def makes_a_process(self):
        if os.fork() == 0:
            os._exit(0)

    def signals_its_parent(self):
        os.kill(os.getppid(), 0)

    def traces_its_parent(self):
        self.ask("ptrace", PTRACE_ATTACH, os.getppid(), 0, 0)

    def takes_a_name_space_of_its_own(self):
        self.ask("unshare", 0x10000000)

    def raises_its_own_limits(self):
        import resource  # noqa: PLC0415

        resource.setrlimit(resource.RLIMIT_CPU, resource.getrlimit(resource.RLIMIT_CPU))

    def ask(self, call, *words):
        if getattr(self.library, call)(*words) == -1:
            raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))


ATTEMPTS = [name for name in vars(Stranger) if name != "ask" and not name.startswith("_")]


@pytest.fixture
def stranger(tmp_path):
    stranger = Stranger(tmp_path)
    yield stranger
    stranger.daemon.close()
    stranger.open_line.close()


def outcome(attempt):
    try:
        attempt()
    except OSError as error:
        return int(error.errno)
    return 0


@pytest.mark.parametrize("attempt", ATTEMPTS)
def test_who_has_taken_a_decoder_over_can_do_nothing_with_it(stranger, attempt):
    def tries(_file):
        return {"errno": outcome(getattr(stranger, attempt))}, ()

    with decoder_process(b"a photo", "a photo", tries) as answer:
        number = answer.whole("errno", most=200)

    assert number in (1, 9), os.strerror(number)  # not permitted; no such descriptor
    assert stranger.secret.read_text() == "who is paired"


# To be traced, or left for a program, a test has no use; the rest works outside.
@pytest.mark.parametrize(
    "attempt", sorted(set(ATTEMPTS) - {"starts_a_program", "traces_its_parent",
    "takes_a_name_space_of_its_own", "makes_a_process"})
)  # fmt: skip
@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_outside_the_decoder_the_same_would_be_done(stranger, attempt):
    assert outcome(getattr(stranger, attempt)) == 0


def test_a_photo_is_read_and_numbers_are_answered(tmp_path):
    (tmp_path / "photo").write_bytes(bytes(range(200)))

    def looks(file):
        codes = np.frombuffer(file.read(), np.uint8)
        return {"columns": len(codes)}, (codes[:150] * np.float32(2), codes[150:] * np.float32(2))

    with decoder_process(tmp_path / "photo", "photo", looks) as answer:
        columns = answer.whole("columns", most=999)
        numbers = answer.read((2, columns // 2), np.float32)

    assert numbers.ravel().tolist() == [2.0 * n for n in range(200)]


@pytest.mark.parametrize("answered", [-1, 1000, "7", None, 1.5])
def test_a_number_that_cannot_be_is_not_believed(answered):
    with (
        decoder_process(b"x", "x.jpg", lambda _: ({"columns": answered}, ())) as answer,
        pytest.raises(PhotoDamaged, match=r"x\.jpg broke its decoder"),
    ):
        answer.whole("columns", most=999)


def test_fewer_numbers_than_stated_are_not_believed():
    few = np.zeros(10, np.float32)

    with (
        decoder_process(b"x", "x.jpg", lambda _: ({}, (few,))) as answer,
        pytest.raises(PhotoDamaged, match="broke its decoder"),
    ):
        answer.read((11,), np.float32)


def test_what_is_wrong_with_a_photo_comes_back_as_a_sentence_without_tricks():
    def complains(_file):
        raise NotAPhoto("no photo \x1b[2J: take another")

    with (
        pytest.raises(NotAPhoto, match=r"no photo \?\[2J: take another"),
        decoder_process(b"x", "x.jpg", complains),
    ):
        pass


def test_a_fault_of_ours_is_no_fault_of_the_photo():
    with (
        pytest.raises(RuntimeError, match="ZeroDivisionError"),
        decoder_process(b"x", "x.jpg", lambda _: ({"share": 1 // 0}, ())),
    ):
        pass


def test_a_photo_that_needs_more_memory_than_there_is_says_so():
    with (
        pytest.raises(PhotoTooLarge, match=r"x\.jpg needs more memory.*: save a smaller copy"),
        decoder_process(b"x", "x.jpg", lambda _: ({"n": len(bytes(1_000_000_000))}, ())),
    ):
        pass


def rows_for_ever():
    while True:
        yield np.zeros(1000, np.float32)


@pytest.mark.parametrize(
    ("number", "error", "said"),
    [
        (signal.SIGKILL, PhotoTooLarge, "needs more memory"),  # what the kernel sends for memory
        (signal.SIGSYS, PhotoDamaged, "broke its decoder"),
        (signal.SIGXCPU, PhotoDamaged, "does not come to an end"),
    ],
)
def test_a_decoder_that_is_ended_gives_the_reason(number, error, said):
    with decoder_process(b"x", "x", lambda _: ({"pid": os.getpid()}, rows_for_ever())) as answer:
        os.kill(answer.whole("pid", most=1 << 30), number)

        with pytest.raises(error, match=said):
            answer.read((10**8,), np.float32)


def test_without_a_filter_nothing_is_decoded(monkeypatch):
    monkeypatch.setattr("etchphoto.decoder.system_calls._ARCHITECTURES", {})

    with (
        pytest.raises(DecodersNotLocked, match="64-bit"),
        decoder_process(b"x", "x", lambda _: ({}, ())),
    ):
        pass


def test_a_decoder_does_not_outlive_who_started_it():
    program = (
        "import os, sys, time\n"
        "from etchphoto.decoder.process import decoder_process\n"
        "def works(_):\n"
        "    return {'pid': os.getpid()}, iter(lambda: time.sleep(60), 0)\n"
        "with decoder_process(b'x', 'x', works) as answer:\n"
        "    print(answer.whole('pid', most=1 << 30), flush=True)\n"
        "    time.sleep(600)\n"
    )
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE) as parent:
        decoder = os.pidfd_open(int(parent.stdout.readline()))
        was_there = not select.select([decoder], [], [], 0)[0]

        parent.kill()

    is_gone = select.select([decoder], [], [], PATIENCE_S)[0]
    os.close(decoder)
    assert was_there
    assert is_gone
