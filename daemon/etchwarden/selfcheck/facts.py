"""What the self-check goes by: plain values, None where it could not be found out."""

from dataclasses import dataclass, field

from etchwire.calls.machine import ControllerSettings
from etchwire.calls.snapshot import Snapshot


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardFacts:
    """The computer."""

    version: str
    python: tuple[int, int]
    current: str | None = None
    has_previous: bool = False
    is_cut_short: bool = False  # an installation or update has begun and not ended
    year: int = 2026
    is_clock_synchronised: bool | None = None
    free_bytes: int | None = None
    size_bytes: int | None = None
    is_read_only: bool = False
    card_worn_tenths: int | None = None  # as the card itself says; not every card does
    file_system_errors: int | None = None
    is_undervolted: bool | None = None
    was_undervolted: bool | None = None
    tells_of_outputs: bool = False
    kept_outputs: tuple[str, ...] = ()  # a sentence for each driver that keeps them on
    chips: tuple[str, ...] = ()
    has_pin_library: bool = False
    limits_memory: bool | None = None
    host_name: str = ""
    addresses: tuple[str, ...] = ()
    announces_name: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineFacts:
    """One machine: its file, its port, its daemon, its records."""

    name: str
    fault: str = ""  # why its file cannot be used
    fault_reasons: tuple[str, ...] = ()  # the same, without a word of what stands in it
    is_file_for_all: bool | None = None  # the daemon's user is none of the file's owners
    port: str = ""
    is_port_there: bool | None = None
    may_open_port: bool | None = None
    chip: str = ""
    pins: tuple[int, ...] = ()
    output_pins: tuple[int, ...] = ()
    has_head: bool = False
    watches_only_because: str = ""
    lacks: tuple[str, ...] = ()  # a sentence for each thing that is not wired
    chips: tuple[str, ...] = ()
    status: Snapshot | None = None
    daemon_is_away: str = ""  # why it does not answer
    settings: ControllerSettings | None = None
    controller_fault: str = ""
    socket_mode: int | None = None
    book: str | None = None  # "ok", or what is wrong with it; None where there is none yet
    book_is_unread: str = ""  # why it could not be looked at, as for want of room for a copy
    books_set_aside: int = 0
    newest_backup: str | None = None  # likewise of the newest one that lies beside it


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFacts:
    """The page that phones look at."""

    fault: str = ""
    fault_reasons: tuple[str, ...] = ()
    port: int = 8080
    machines: tuple[str, ...] = ()
    status_code: int | None = None
    is_away: str = ""
    readable_secrets: tuple[str, ...] = field(default=())
