"""A word to the service manager."""

import socket

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
