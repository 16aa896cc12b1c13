"""A word to the service manager: one datagram, as systemd's sd_notify(3) describes it."""

import os
import socket
from contextlib import suppress


def notify(*words: str, patience_s: float = 0.0) -> None:
    """Send `words` such as READY=1; nothing happens where no service manager listens.

    One that does not read has room for a few words only (net.unix.max_dgram_qlen, unix(7)): what
    finds no room in `patience_s` is dropped, for the loop that drives the laser must not wait.
    """
    path = os.environ.get("NOTIFY_SOCKET", "")
    if not path:
        return
    address = "\0" + path[1:] if path.startswith("@") else path
    with (
        suppress(OSError),  # a deaf manager must not stop an etch or a page
        socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as manager,
    ):
        manager.settimeout(patience_s)
        manager.sendto("\n".join(words).encode(), address)
