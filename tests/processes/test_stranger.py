"""A user who is not in the socket's group: kept out by the kernel, told why by us."""

import os
import socket
import stat
import struct
from contextlib import contextmanager

import pytest

from etchwire.errors import DaemonAbsent
from etchwire.transport.handlers import Handlers
from etchwire.transport.server import LineServer
from support.harnesses.plain_client import PlainClient

NOBODY = 65534


@pytest.fixture
def path(tmp_path):
    reception = Handlers(answer=lambda _: {}, greeting={}, at_once=frozenset())
    with LineServer(tmp_path / "s", reception):
        yield tmp_path / "s"


def test_only_owner_and_group_may_knock(path):
    assert stat.S_IMODE(path.stat().st_mode) == 0o660


def test_the_kernel_says_who_knocked(path):
    with socket.socket(socket.AF_UNIX) as knock:
        knock.connect(str(path))
        _, uid, gid = struct.unpack(
            "3i", knock.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12)
        )

    assert (uid, gid) == (os.geteuid(), os.getegid())


@contextmanager
def stranger(path):
    """As root, be somebody else for a moment; otherwise have our own right taken away."""
    if os.geteuid() != 0:
        path.chmod(0)
        yield
        return
    shut = {one: one.stat().st_mode for one in path.parents if not one.stat().st_mode & 0o001}
    groups = os.getgroups()
    for one, mode in shut.items():
        one.chmod(mode | 0o001)  # they may come to the door
    os.setgroups([])
    os.setegid(NOBODY)
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)
        os.setgroups(groups)
        for one, mode in shut.items():
            one.chmod(mode)


def test_a_stranger_is_told_to_ask_for_the_group(path):
    with (
        stranger(path),
        pytest.raises(DaemonAbsent, match="this user may not; ask whoever looks after"),
    ):
        PlainClient(path)
