"""The names this box answers to: any other in a request is a sign of a foreign page."""

import fcntl
import ipaddress
import os
import socket
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Final

LOOPBACK_NAMES: Final = ("localhost", "127.0.0.1", "[::1]")
EVERY_ADDRESS: Final = ("0.0.0.0", "::")  # noqa: S104 - compared with, not bound to

# The page's unit allows no netlink socket, which `socket.if_nameindex` needs.
INTERFACES: Final = Path("/sys/class/net")
_SIOCGIFADDR: Final = 0x8915  # linux/sockios.h
_INTERFACE_NAME_BYTES: Final = 15


def is_loopback(host: str) -> bool:
    """Return whether `host` can be reached from this machine only."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def names_of(host: str) -> tuple[str, ...]:
    """Return the names a browser may use for a page served at `host`, without port."""
    if is_loopback(host):
        return LOOPBACK_NAMES
    own = own_addresses() if host in EVERY_ADDRESS else (host,)
    name = socket.gethostname()
    return (*LOOPBACK_NAMES, name, f"{name}.local", *own)


def own_addresses() -> tuple[str, ...]:
    """Return this machine's IPv4 addresses that others can reach; raise OSError."""
    return tuple(address for address in _ipv4_addresses() if not is_loopback(address))


def _ipv4_addresses() -> Iterator[str]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        for interface in sorted(INTERFACES.iterdir()):
            request = struct.pack("256s", os.fsencode(interface.name)[:_INTERFACE_NAME_BYTES])
            try:
                answer = fcntl.ioctl(asker.fileno(), _SIOCGIFADDR, request)
            except OSError:
                continue  # an interface without an IPv4 address
            yield socket.inet_ntoa(answer[20:24])


def addresses(host: str, port: int) -> tuple[str, ...]:
    """Return where a browser finds a page served at `host` and `port`, the surest first.

    That is a number: not every phone knows names that end in .local.
    """
    if host in EVERY_ADDRESS:
        hosts = (*own_addresses(), f"{socket.gethostname()}.local")
    else:
        hosts = (f"[{host}]" if ":" in host else host,)
    return tuple(f"http://{name}:{port}/" for name in hosts)
