"""Something else on the port, for real: told in a sentence, never taken for the machine."""

import os
import threading
import time
import tty
from contextlib import ExitStack, suppress

import pytest

from etchpractice.link.foreign_devices import SENTENCES
from support.harnesses.link_bench import PATIENCE_S, Bench

A_SECOND_S = 0.05  # of the wall's: the practice machine's time runs twenty times as fast
ONE_AT_A_TIME_S = A_SECOND_S / 3


def _heard_too_fast(sent, ratio):
    """Return what a receiver makes of `sent` when it samples each bit `ratio` times."""
    line = [1] * ratio
    for byte in sent:
        bits = [0, *((byte >> place) & 1 for place in range(8)), 1]
        line += [bit for bit in bits for _ in range(ratio)]
    heard, at = bytearray(), 0
    while at + 10 <= len(line):
        if line[at]:
            at += 1
            continue
        heard.append(sum(bit << place for place, bit in enumerate(line[at + 1 : at + 9])))
        at += 10
    return bytes(heard)


class Device:
    """A terminal that says what it is given, or talks by itself."""

    def __init__(self, parts, *, says=(), every_s=A_SECOND_S, echoes=False):
        self._master, self._other = os.openpty()
        tty.setraw(self._other)
        self.path = os.ttyname(self._other)
        self.heard = b""
        self._says, self._every_s, self._echoes = says, every_s, echoes
        self._is_over = threading.Event()
        self._thread = threading.Thread(target=self._talk)
        self._thread.start()
        parts.callback(self.pull)

    def _talk(self):
        os.set_blocking(self._master, False)
        turn = 0
        while not self._is_over.wait(self._every_s):
            said = self._says[turn % len(self._says)] if self._says else b""
            turn += 1
            try:
                heard = os.read(self._master, 4096)
                self.heard += heard
                said += heard if self._echoes else b""
            except BlockingIOError:
                pass
            with suppress(BlockingIOError):  # nobody reads
                os.write(self._master, said)

    def pull(self):
        if not self._is_over.is_set():
            self._is_over.set()
            self._thread.join()
            os.close(self._master)
            os.close(self._other)


# Of its echo no line ever ends, so it counts as silence.
MODEM = ({"echoes": True, "every_s": 0.02}, "Nothing answers")
TALKERS = {
    "a satellite receiver, once a second": {"says": (SENTENCES,)},
    "a satellite receiver, sentence by sentence": {
        "says": SENTENCES.splitlines(keepends=True),
        "every_s": ONE_AT_A_TIME_S,
    },
    "a satellite receiver at 9600 baud": {"says": (_heard_too_fast(SENTENCES, 12),)},
}
DEVICES = {"a modem that echoes": MODEM} | {
    name: (behaviour, "Something talks on this port") for name, behaviour in TALKERS.items()
}


def test_a_receiver_at_the_wrong_speed_is_heard_as_garbage_and_at_the_right_one_as_it_is():
    assert _heard_too_fast(SENTENCES, 1) == SENTENCES
    assert b"GP" not in _heard_too_fast(SENTENCES, 12)


@pytest.mark.fault("wrong device on the port")
def test_another_device_is_told_of_and_the_machine_taken_in_its_place(tmp_path):
    with ExitStack() as parts:
        bench = Bench(tmp_path, parts)
        bench.begin(starts_daemon=False)
        for name, (behaviour, said) in DEVICES.items():
            bench.do("unplug")
            device = Device(parts, **behaviour)
            bench.put_on_port(device.path)
            if bench.daemon is None:
                bench.begin_daemon()

            told = bench.until(lambda status: status["machine"]["link"] == "refused")["machine"]
            _asked_again(device)
            link = bench.ask("status")["machine"]["link"]
            bench.do("plug_in")
            device.pull()

            assert told["sentence"].startswith(said), name
            assert "like a motion controller" in told["sentence"], name
            assert "115200 baud" in told["sentence"], name
            assert link in ("refused", "opening"), name
            assert set(device.heard) <= set(b"?\x18!"), name
            bench.etch_the_next()


def _asked_again(device):
    """Wait until the device has been tried once more."""
    before, deadline_s = device.heard.count(b"\x18"), time.monotonic() + PATIENCE_S
    while device.heard.count(b"\x18") <= before:
        assert time.monotonic() < deadline_s, device.heard
        time.sleep(0.02)
