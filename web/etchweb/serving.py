"""The page as a process: a socket, waitress, and a clean end."""

import errno
import logging
import signal
import socket
import tempfile
import threading
import time
from contextlib import suppress
from pathlib import Path
from types import FrameType
from typing import Final

from etchweb.server.host_names import names_of
from etchweb.server.server import Server
from etchweb.server.watchdog import feed_watchdog
from etchweb.site import Site
from etchwire.notification import notify

LARGEST_PORT: Final = 65535
LOOK_FOR_NAMES_EVERY_S: Final = 30.0


class AddressTaken(OSError):
    """The page cannot be served where it was told to; the message says where else it could."""


def listen_at(host: str, port: int) -> socket.socket:
    """Return a socket at this address, or raise AddressTaken with what to do."""
    try:
        family, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        listener = socket.socket(family, socket.SOCK_STREAM)
    except OSError as error:
        raise AddressTaken(f"{host} is not an address of this machine. Use --host.") from error
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
        listener.listen()  # whoever reads the address at once is kept waiting, not refused
    except OSError as error:
        listener.close()
        raise AddressTaken(_why_not(error, host, port)) from error
    return listener


def _why_not(error: OSError, host: str, port: int) -> str:
    if error.errno == errno.EADDRINUSE:
        another = port + 1 if port < LARGEST_PORT else port - 1
        return (
            f"Port {port} on {host} is in use by another program. "
            f"Choose another one, for example with --port {another}."
        )
    if error.errno == errno.EACCES:
        return f"Port {port} is for the system alone. Choose one above 1023, as --port 8080."
    return f"The page cannot be served at {host}, port {port}: {error.strerror}. Use --host."


def serve(site: Site, listener: socket.socket, *, host: str, folder: Path) -> None:
    """Serve `site` at `listener`, a socket on `host`, until SIGTERM or Ctrl-C.

    Bodies wait in `folder`, the page's own, without a name. Open streams are let go at the end.
    """
    # It tells of every phone that leaves, and of every request that waits: phones do both all day.
    logging.getLogger("waitress").setLevel(logging.ERROR)
    tempfile.tempdir = str(folder)  # libraries write theirs there too; /tmp may be memory
    server = Server(site, listener, site.machines.known)
    ended = threading.Event()

    def end(_number: int, _frame: FrameType | None) -> None:
        ended.set()
        notify("STOPPING=1")
        site.end()
        raise SystemExit(0)

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)
    site.start()
    threading.Thread(target=_follow_names, args=(site, host), name="names", daemon=True).start()
    threading.Thread(
        target=feed_watchdog, args=(server, ended), name="watchdog", daemon=True
    ).start()
    server.run()
    server.close()


def _follow_names(site: Site, host: str) -> None:
    """Keep the names the page answers to, as routers hand out new addresses."""
    while True:
        time.sleep(LOOK_FOR_NAMES_EVERY_S)
        with suppress(OSError):  # the addresses cannot be read just now: the names of before stay
            site.name_hosts(names_of(host))
