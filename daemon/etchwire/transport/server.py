"""A Unix socket that answers JSON lines: the daemon's, and the practice machine's.

Two threads for each client, because neither may wait for the other: one hears, one answers.
A client that does not read what it asked for is dropped, and so is one that does not say hello;
nobody else notices.
"""

import contextlib
import errno
import os
import socket
import struct
import threading
from pathlib import Path
from typing import Final, Self

from etchwire.errors import SocketUnavailable
from etchwire.transport.client_session import ClientSession
from etchwire.transport.framing import encode
from etchwire.transport.handlers import Handlers
from etchwire.transport.messages import Code, Failure

CLIENTS_LIMIT: Final = 24
RETRY_S: Final = 0.1
NOBODY_ELSE: Final = 0o117  # leaves rw-rw----: the group decides who may knock
_PEER: Final = struct.Struct("3i")


class LineServer:
    """Listens on a socket in the file system and gives each client to `reception`.

    Start it before other threads write files: the socket's mode is set by the process's umask
    around `bind`, since changing it afterwards would leave a moment in which anybody may enter.
    """

    def __init__(self, path: Path, reception: Handlers) -> None:
        self._path = path
        self._reception = reception
        self._callers: dict[ClientSession, None] = {}  # those who came first stand first
        self._lock = threading.Lock()
        self._stopping = threading.Event()

    def start(self) -> None:
        """Listen; raise SocketUnavailable when the place cannot be had."""
        self._socket = _listen(self._path)
        self._inode = self._path.stat().st_ino
        self._thread = threading.Thread(target=self._receive, name=f"{self._path.name} door")
        self._thread.start()

    def stop(self) -> None:
        """Take no more clients, part from those there are, and remove the socket."""
        self._stopping.set()
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)  # wakes `accept`
        self._thread.join()
        self._socket.close()
        with self._lock:
            callers = list(self._callers)
        for caller in callers:
            caller.part()
        for caller in callers:
            caller.join()
        with contextlib.suppress(OSError):
            if self._path.stat().st_ino == self._inode:
                self._path.unlink()

    def __enter__(self) -> Self:
        """Start; leaving stops."""
        self.start()
        return self

    def __exit__(self, *_error: object) -> None:
        """Stop."""
        self.stop()

    def _receive(self) -> None:
        while not self._stopping.is_set():
            try:
                client, _ = self._socket.accept()
            except OSError as error:
                if error.errno not in _PASSING_FAULTS:
                    return
                self._stopping.wait(RETRY_S)
            else:
                self._admit(client)

    def _admit(self, client: socket.socket) -> None:
        with self._lock:
            if not self._has_place():
                _turn_away(client)
                return
            caller = ClientSession(client, _pid_of(client), self._reception, self._forget)
            self._callers[caller] = None
        caller.start()

    def _has_place(self) -> bool:
        """Return whether one more may come in: whoever waited longest with its hello gives way."""
        present = [caller for caller in self._callers if not caller.is_gone]
        if len(present) < CLIENTS_LIMIT:
            return True
        silent = next((caller for caller in present if not caller.is_greeted), None)
        if silent is None or len(self._callers) >= 2 * CLIENTS_LIMIT:  # that many are leaving
            return False
        silent.part()
        return True

    def _forget(self, caller: ClientSession) -> None:
        with self._lock:
            self._callers.pop(caller, None)


# A client that left before it was greeted, or no descriptor free at this moment.
_PASSING_FAULTS: Final = (errno.ECONNABORTED, errno.EMFILE, errno.ENFILE, errno.EINTR)


def _listen(path: Path) -> socket.socket:
    """Listen first and show the socket then: whoever finds it there may call at once."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    unshown = path.with_name(f"{path.name}~")
    try:
        _remove_if_nobody_listens(path)
        unshown.unlink(missing_ok=True)
        umask = os.umask(NOBODY_ELSE)
        try:
            listener.bind(str(unshown))
        finally:
            os.umask(umask)
        listener.listen(CLIENTS_LIMIT)
        try:
            os.link(unshown, path)  # unlike a rename it never takes another's place
        finally:
            unshown.unlink()
    except OSError as error:
        listener.close()
        if isinstance(error, SocketUnavailable):
            raise
        reason = error.strerror or str(error)
        raise SocketUnavailable(f"cannot listen at {path}: {reason}") from error
    return listener


def _remove_if_nobody_listens(path: Path) -> None:
    if not path.is_socket():
        return
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as knock:
        knock.settimeout(1.0)
        try:
            knock.connect(str(path))
        except ConnectionRefusedError:
            path.unlink()
        else:
            raise SocketUnavailable(f"somebody already listens at {path}: is it running twice?")


def _turn_away(client: socket.socket) -> None:
    sentence = f"{CLIENTS_LIMIT} clients are connected already: close one, or try again later"
    with client, contextlib.suppress(OSError):
        client.sendall(encode(Failure(None, Code.REFUSED, sentence, "busy").to_table()))


def _pid_of(client: socket.socket) -> int:
    # SO_PEERCRED: unix(7); who connected, as the kernel saw it then.
    data = client.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _PEER.size)
    pid, _uid, _gid = _PEER.unpack(data)
    return int(pid)
