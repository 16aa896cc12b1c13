"""A word to the service manager."""

import socket
import threading
from contextlib import suppress

import pytest

from etchwire.notification import notify


def test_a_word_reaches_the_service_manager(tmp_path, monkeypatch):
    path = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(path))
        monkeypatch.setenv("NOTIFY_SOCKET", str(path))

        notify("READY=1", "STATUS=etching")

        assert manager.recv(100) == b"READY=1\nSTATUS=etching"


@pytest.mark.parametrize("path", ["", "/nowhere/at/all"])
def test_without_a_service_manager_nothing_happens(monkeypatch, path):
    monkeypatch.setenv("NOTIFY_SOCKET", path)

    notify("READY=1")


def test_nobody_waits_for_a_service_manager_that_does_not_read(tmp_path, monkeypatch):
    path, patience_s = tmp_path / "notify", 60.0
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(path))
        monkeypatch.setenv("NOTIFY_SOCKET", str(path))
        _fill(path)
        word = threading.Thread(target=notify, args=("WATCHDOG=1",), daemon=True)

        word.start()
        word.join(patience_s)

        assert not word.is_alive()


def _fill(path):
    """Send until there is no more room."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as other:
        other.setblocking(False)
        with suppress(BlockingIOError):
            while True:
                other.sendto(b"STATUS=waits", str(path))
