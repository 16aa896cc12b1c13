"""Who gets a connection to the page: caps, and the silent give way to the newest.

An address is *known* once a paired phone has asked from it; everybody else is a stranger. Only
an answer under way keeps a connection for certain. So somebody who opens connections and says
nothing pushes out their own, and leaves the places of the phones alone.
"""

import ipaddress
import threading
from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass
from typing import Final, Protocol, Self, TypeVar

from etchweb.server.rate import Allowance

MOST_CONNECTIONS: Final = 96
OPEN_FILES_PER_CONNECTION: Final = 4  # its socket, and what an answer opens: database, daemon, file
# A browser opens six connections to one host, and perhaps one ahead of need.
MOST_OF_ONE_STRANGER: Final = 8
MOST_KNOWN: Final = 64

# Of one stranger's address. A phone that comes to be paired asks for some twenty files at once.
CONNECTIONS: Final = Allowance(tries=60, one_more_after_s=0.1)
REQUESTS: Final = Allowance(tries=120, one_more_after_s=0.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Caps:
    """How many connections there may be: in all, of all strangers, of one, of one known address."""

    all: int
    strangers: int
    one_stranger: int
    one_known: int

    @classmethod
    def within(cls, open_files: float) -> Self:
        """Return caps that leave a process of so many open files enough for its work."""
        most = max(4, int(min(MOST_CONNECTIONS, open_files / OPEN_FILES_PER_CONNECTION)))
        strangers = most // 3
        return cls(
            all=most,
            strangers=strangers,
            one_stranger=min(MOST_OF_ONE_STRANGER, strangers),
            one_known=most // 2,
        )


class Connection(Protocol):
    """A connection that has a place."""

    @property
    def network(self) -> str:
        """Where it comes from, as `network_of` gives it."""
        ...

    @property
    def is_known(self) -> bool:
        """Whether a paired phone has asked from there."""
        ...

    @property
    def silent_since_s(self) -> float | None:
        """Since when it has owed us a whole request; None while we owe it something."""
        ...


AnyGuest = TypeVar("AnyGuest", bound=Connection)


class NoPlace(Exception):
    """Every connection that would have to give way is being answered."""


def displaced(
    network: str, guests: Collection[AnyGuest], caps: Caps, *, is_known: bool
) -> AnyGuest | None:
    """Return which of `guests` gives way to a newcomer from `network`, or None: there is room.

    It is the one that was silent longest of those who crowd: its own address, the strangers, or
    all, strangers first. Raise NoPlace where none of them is silent.
    """
    own = [guest for guest in guests if guest.network == network]
    strangers = [guest for guest in guests if not guest.is_known]
    if len(own) >= (caps.one_known if is_known else caps.one_stranger):
        crowd = own
    elif not is_known and len(strangers) >= caps.strangers:
        crowd = strangers
    elif len(guests) >= caps.all:
        crowd = list(guests)
    else:
        return None
    silent = [
        (guest.is_known, since_s, place)
        for place, guest in enumerate(crowd)
        if (since_s := guest.silent_since_s) is not None
    ]
    if not silent:
        raise NoPlace
    return crowd[min(silent)[2]]


def network_of(address: str) -> str:
    """Return what counts as one address: of IPv6 the /64, which one computer has to itself."""
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(ip, ipaddress.IPv4Address):
        return str(ip)
    if ip.ipv4_mapped is not None:
        return str(ip.ipv4_mapped)
    return str(ipaddress.ip_network((ip, 64), strict=False))


class KnownAddresses:
    """From where paired phones have asked, the newest few; any thread may ask."""

    def __init__(self) -> None:
        self._networks: OrderedDict[str, None] = OrderedDict()
        self._lock = threading.Lock()

    def note(self, address: str) -> None:
        """Know `address` from now on."""
        network = network_of(address)
        with self._lock:
            self._networks[network] = None
            self._networks.move_to_end(network)
            if len(self._networks) > MOST_KNOWN:
                self._networks.popitem(last=False)

    def __contains__(self, network: str) -> bool:
        """Return whether `network`, as `network_of` gives it, is known."""
        return network in self._networks
