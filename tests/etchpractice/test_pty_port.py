"""The practice machine's port, as the kernel shows it to who opens it."""

import fcntl
import os
from pathlib import Path

import pytest

from etchpractice.link.pty_port import PtyPort
from etchpractice.link.terminals import NameTaken, open_terminal


@pytest.fixture
def port(tmp_path):
    made = PtyPort(tmp_path / "port")
    yield made
    made.unplug()


@pytest.fixture
def link(tmp_path):
    return tmp_path / "port"


def test_put_back_under_another_name_it_has_another(port, link):
    before = link.resolve()
    port.unplug()

    port.plug_in(name="another")

    assert link.resolve() != before


def test_a_name_that_somebody_else_has_is_refused_and_nothing_is_kept_open():
    before = descriptors()

    with pytest.raises(NameTaken):
        open_terminal(lambda _: False)

    assert descriptors() == before


def descriptors():
    return len(list(Path("/proc/self/fd").iterdir()))


def test_a_taken_port_is_another_programs_until_it_is_free(port, link):
    port.unplug()
    port.plug_in(is_taken=True)
    descriptor = os.open(link, os.O_RDWR | os.O_NOCTTY)

    with pytest.raises(BlockingIOError):
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    port.free()

    fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    os.close(descriptor)
