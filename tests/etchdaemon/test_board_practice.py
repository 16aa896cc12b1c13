"""The practice board's client against the practice machine's own board and socket."""

import select
import socket
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress

import pytest

from etchdaemon.errors import BoardLost
from etchdaemon.hardware.practice_board import PracticeBoard
from etchdaemon.interlocks.inputs import Input, Output
from etchpractice.box.board import Board
from etchpractice.box.board_socket import BoardSocket
from support.fakes.memory_board import HandClock

PATIENCE_S = 30.0


class Bell:
    """A doorbell that a test can wait for."""

    def __init__(self):
        self.has_rung = threading.Event()

    def ring(self):
        self.has_rung.set()

    def wait(self, timeout_s):
        pass


class Served:
    """The board behind its socket, in a thread; `do` runs a verb there and waits for it."""

    def __init__(self, path):
        self.board = Board(lambda *_: None)
        self.socket = BoardSocket(path, self.board, speedup=20)
        self._errands = []
        self._is_ending = False
        self._has_turned = threading.Condition()
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def do(self, verb, *arguments, **keywords):
        done = threading.Event()
        self._errands.append((lambda: verb(*arguments, **keywords), done))
        assert done.wait(PATIENCE_S)

    @contextmanager
    def kept_waiting(self):
        """Let the board hear nothing, as where its process does not run."""
        is_waiting, may_go_on = threading.Event(), threading.Event()

        def wait():
            is_waiting.set()
            assert may_go_on.wait(PATIENCE_S)

        self._errands.append((wait, threading.Event()))
        assert is_waiting.wait(PATIENCE_S)
        try:
            yield
        finally:
            may_go_on.set()

    def until(self, holds):
        with self._has_turned:
            assert self._has_turned.wait_for(holds, PATIENCE_S)

    def end(self):
        self._is_ending = True
        self._thread.join()
        self.socket.unplug()

    def _serve(self):
        while not self._is_ending:
            select.select(self.socket.waits_for(), [], [], 0.005)
            self.socket.hear()
            while self._errands:
                verb, done = self._errands.pop(0)
                verb()
                self.socket.tell()
                done.set()
            self.socket.tell()
            with self._has_turned:
                self._has_turned.notify_all()


@contextmanager
def served(path):
    service = Served(path)
    try:
        yield service
    finally:
        service.end()


@pytest.fixture
def path(tmp_path):
    return tmp_path / "board.sock"


def connected(path):
    bell = Bell()
    board = PracticeBoard(path, bell)
    board.take_time_from(HandClock(7.0))
    return board, bell


def test_the_board_tells_every_input_and_its_pace(path):
    with served(path):
        board, _ = connected(path)
        levels = board.read()
        board.close()

    assert levels[Input.LID].is_closed
    assert not levels[Input.ARM_BUTTON].is_closed
    assert levels[Input.LID].at_s == 7.0
    assert board.speedup == 20


def test_an_output_reaches_the_board(path):
    with served(path) as service:
        board, _ = connected(path)
        board.set(Output.BEAM_ENABLE, is_on=True)
        service.until(lambda: service.board.outputs["beam_enable"])
        board.close()


def test_a_lid_that_opens_rings_and_is_noted(path):
    with served(path) as service:
        board, bell = connected(path)
        board.take_opened()
        bell.has_rung.clear()
        service.do(service.board.open_lid)
        assert bell.has_rung.wait(PATIENCE_S)
        opened = board.take_opened()
        board.close()

    assert Input.LID in opened


def test_an_edge_is_dated_by_when_it_came_and_not_by_when_it_was_told(path):
    with served(path) as service:
        board, _ = connected(path)
        board.take_time_from(HandClock(9.0))

        def open_lid_in_a_turn_of_a_busy_computer():
            service.board.advance_to(1.0)
            service.board.open_lid()
            service.board.advance_to(1.02)

        service.do(open_lid_in_a_turn_of_a_busy_computer)
        until(lambda: not board.read()[Input.LID_SECOND].is_closed)
        opened = board.take_opened()
        board.close()

    assert opened[Input.LID].machine_s == 1.0


def test_a_reading_that_hangs_gives_no_answer_until_it_goes_on(path):
    with served(path) as service, ThreadPoolExecutor(1) as others:
        board, bell = connected(path)
        service.do(service.board.hang_reading, is_hanging=True)
        until_it_has_rung(service, bell)
        reading = others.submit(board.read)
        with pytest.raises(TimeoutError):
            reading.result(timeout=0.2)
        service.do(service.board.hang_reading, is_hanging=False)
        levels = reading.result(PATIENCE_S)
        board.close()

    assert not levels[Input.LID].is_closed


def test_edges_that_fail_raise_into_whoever_asks_for_them(path):
    with served(path) as service:
        board, bell = connected(path)
        service.do(service.board.fail_edges)
        until_it_has_rung(service, bell)
        with pytest.raises(RuntimeError):
            board.take_opened()
        board.close()


def test_an_input_that_is_missing_is_not_read_until_it_is_there_again(path):
    with served(path) as service:
        board, _ = connected(path)
        service.do(service.board.doubt_input, "lid", how="missing")
        until(lambda: Input.LID not in board.read())
        service.do(service.board.doubt_input, "lid", how=None)
        until(lambda: Input.LID in board.read())
        board.close()


def test_a_reading_that_grows_old_keeps_its_time(path):
    with served(path) as service:
        board, _ = connected(path)
        service.do(service.board.doubt_input, "flame", how="stale")
        until_all_is_heard(service, board)
        board.take_time_from(HandClock(9.0))
        levels = board.read()
        service.do(service.board.doubt_input, "flame", how=None)
        until(lambda: board.read()[Input.FLAME].at_s == 9.0)
        board.close()

    assert (levels[Input.FLAME].at_s, levels[Input.LID].at_s) == (7.0, 9.0)


def test_until_the_machine_has_followed_the_contact_the_loop_is_as_old_as_its_change(path):
    with served(path) as service:
        board, _ = connected(path)
        clock = HandClock(9.0)
        board.take_time_from(clock)
        with service.kept_waiting():
            board.set(Output.BEAM_ENABLE, is_on=True)
            clock.seconds = 9.5
            levels = board.read()
        until(lambda: board.read()[Input.LOOP_CLOSED] == (True, 9.5))
        board.close()

    assert levels[Input.LOOP_CLOSED] == (False, 9.0)
    assert levels[Input.LID].at_s == 9.5


def test_without_edges_a_lid_that_opens_is_read_and_rings_nobody(path):
    with served(path) as service:
        board, bell = connected(path)
        service.do(service.board.lose_edges)
        board.take_opened()  # what was open from the first
        bell.has_rung.clear()
        service.do(service.board.open_lid)
        until(lambda: not board.read()[Input.LID].is_closed)
        opened = board.take_opened()
        board.close()

    assert not opened
    assert not bell.has_rung.is_set()


@pytest.mark.slow
def test_a_board_that_falls_away_is_lost_and_found_again(path):
    with served(path) as service:
        board, _ = connected(path)
        service.do(service.socket.unplug)
        until(lambda: not can_be_read(board))
        service.do(service.socket.plug_in)
        until(lambda: can_be_read(board))
        board.close()


def until(holds):
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline_s


def until_it_has_rung(service, bell):
    """Open the lid and wait for the bell: whatever was told before has been heard then."""
    bell.has_rung.clear()
    service.do(service.board.open_lid)
    assert bell.has_rung.wait(PATIENCE_S)


def until_all_is_heard(service, board):
    """Open the lid and wait for it: whatever was told before has been heard then."""
    service.do(service.board.open_lid)
    until(lambda: Input.LID in board.take_opened())


def can_be_read(board):
    try:
        return bool(board.read())
    except BoardLost:
        return False


def test_leaving_lets_every_output_fall(path):
    with served(path) as service:
        board, _ = connected(path)
        board.set(Output.EXTRACTION, is_on=True)
        service.until(lambda: service.board.outputs["extraction"])
        board.close()
        service.until(lambda: not service.board.outputs["extraction"])


def test_a_daemon_that_follows_a_killed_one_at_once_is_let_in(path):
    board = Board(lambda *_: None)
    served = BoardSocket(path, board, speedup=20)
    killed, next_one = (socket.socket(socket.AF_UNIX) for _ in range(2))
    with killed:
        killed.connect(str(path))
        served.hear()
        killed.sendall(b"set beam_enable 1\n")  # its last word is still unread, and so is its end

    with next_one:
        next_one.connect(str(path))
        served.hear()
        told = next_one.recv(4096)
    served.unplug()

    assert told.endswith(b"ready\n")
    assert not board.outputs["beam_enable"]


def test_a_board_that_is_not_there_is_named(path):
    with pytest.raises(BoardLost, match="is not there"):
        PracticeBoard(path, Bell())


def test_a_board_that_goes_away_is_lost(path):
    with served(path):
        board, _ = connected(path)
    while True:  # until the reader has seen the end of the connection
        try:
            board.read()
        except BoardLost:
            break
    with suppress(BoardLost):
        board.set(Output.BEAM_ENABLE, is_on=True)  # the first one may still be taken
    with pytest.raises(BoardLost):
        board.set(Output.BEAM_ENABLE, is_on=True)
    board.close()
