"""Looking at one machine: its file, its port, and its daemon, or without one the controller."""

import os
import sqlite3
import stat
import tempfile
import time
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Final

from etchdaemon.configuration.loading import Configuration, load_configuration
from etchdaemon.controller.setting_list import settings_of
from etchdaemon.errors import BackupFailed, PortLost
from etchdaemon.hardware.gpio_lines import Lines
from etchdaemon.hardware.serial_port import opener
from etchdaemon.interlocks.checks.wiring_gaps import watches_only_because, wiring_gaps
from etchdaemon.logbook.backup.backups import FOLDER_NAME as BACKUPS_FOLDER
from etchdaemon.logbook.backup.names import read_names
from etchdaemon.logbook.backup.sums import is_as_written
from etchdaemon.service.link.machine import LinkState, Machine
from etchwarden.installation.keeping import LOGBOOK_NAME, copy_with_its_journals
from etchwarden.installation.paths import Places
from etchwarden.selfcheck.facts import MachineFacts
from etchwire.calls.client import DaemonClient
from etchwire.calls.machine import Settings, Status
from etchwire.configuration.faults import FaultyConfiguration
from etchwire.errors import WireError
from etchwire.storing import fault_of_card

CONTROLLER_PATIENCE_S: Final = 15.0
LOOK_EVERY_S: Final = 0.02
DIALOUT: Final = "dialout"


def look_at_machine(name: str, places: Places) -> MachineFacts:
    """Gather what can be found out about the machine `name`."""
    book = places.records / name / LOGBOOK_NAME
    file = places.settings / f"{name}.toml"
    facts = MachineFacts(
        name=name,
        books_set_aside=len(list(book.parent.glob(f"{book.stem}.damaged-*{book.suffix}"))),
        newest_backup=_newest_of(book.parent / BACKUPS_FOLDER),
        is_file_for_all=_is_for_all(file),
    )
    facts = _with_daemon(facts, places.socket(name))
    # A daemon checks it when it opens it, and tells of troubles.
    facts = _with_logbook(facts, book) if facts.status is None else replace(facts, book="ok")
    try:
        box = load_configuration(file)
    except FaultyConfiguration as fault:
        return replace(facts, fault=str(fault), fault_reasons=reasons_of(fault))
    facts = _with_configuration(facts, box)
    return _with_controller(facts, box.port) if facts.status is None else facts


def reasons_of(fault: FaultyConfiguration) -> tuple[str, ...]:
    """Return why a file cannot be used, without a word of what stands in it."""
    return tuple(one.reason.value for one in fault.faults)


def _is_for_all(file: Path) -> bool | None:
    try:
        return bool(file.stat().st_mode & stat.S_IROTH)
    except OSError:
        return None


def _with_configuration(facts: MachineFacts, box: Configuration) -> MachineFacts:
    port = Path(box.port)
    wired = box.setup.wired
    outputs = tuple(pin.number for pin in box.pins.outputs.values())
    return replace(
        facts,
        port=box.port,
        is_port_there=port.exists() if box.port else None,
        may_open_port=_is_dialouts(port),
        chip=box.pins.chip_label,
        pins=(*outputs, *(pin.number for pin in box.pins.inputs.values())),
        output_pins=outputs,
        has_head=box.head is not None,
        watches_only_because=watches_only_because(wired) or "",
        lacks=tuple(lack.sentence for lack in wiring_gaps(wired)),
        chips=tuple(chip.label for chip in Lines().chips()),
    )


def _is_dialouts(port: Path) -> bool | None:
    """Return whether the group of the daemon's user may use the port."""
    try:
        return port.group() == DIALOUT and bool(port.stat().st_mode & stat.S_IWGRP)
    except (OSError, KeyError):
        return None


def _with_daemon(facts: MachineFacts, socket: Path) -> MachineFacts:
    try:
        facts = replace(facts, socket_mode=stat.S_IMODE(socket.stat().st_mode))
        with DaemonClient(socket) as daemon:
            facts = replace(facts, status=daemon.ask(Status()))
            return replace(facts, settings=daemon.ask(Settings()))
    except (OSError, WireError) as error:
        is_absent = isinstance(error, FileNotFoundError)
        return replace(facts, daemon_is_away="It does not run." if is_absent else f"{error}.")


class _NoBeam:
    """No contact is driven while the controller is asked."""

    def allow(self) -> None:
        """Refuse nothing and close nothing."""

    def cut(self) -> None:
        """Open nothing."""


def _with_controller(facts: MachineFacts, port: str) -> MachineFacts:
    """Ask the controller itself, as its daemon does when it opens the port."""
    if not port or not os.path.lexists(port):
        return facts
    machine = Machine(open_port=opener(port), beam=_NoBeam(), port_name=port)
    until_s = time.monotonic() + CONTROLLER_PATIENCE_S
    try:
        while time.monotonic() < until_s:
            now_s = time.monotonic()
            machine.look_after(now_s)
            for event in machine.read_events(now_s):
                machine.tell(event, now_s)
            machine.tick(now_s)
            if machine.link in (LinkState.READY, LinkState.REFUSED):
                return replace(facts, settings=settings_of(machine.facts))
            time.sleep(LOOK_EVERY_S)
    except PortLost as lost:
        return replace(facts, controller_fault=str(lost))
    return replace(facts, controller_fault=machine.sentence)


def _newest_of(backups: Path) -> str | None:
    """Hold the newest backup against its sum; the others would take a worn board minutes."""
    try:
        kept = read_names(path.name for path in backups.iterdir()) if backups.exists() else []
        if not kept:
            return None
        is_as_written(backups / str(kept[-1]))
    except OSError as error:
        return f"{error.filename} cannot be read ({error.strerror})."
    except BackupFailed as fault:
        return str(fault)
    return "ok"


def _with_logbook(facts: MachineFacts, book: Path) -> MachineFacts:
    """Check a copy: opening the book itself would leave files of root's beside it."""
    if not book.exists():
        return facts
    # Beside it, where there is room for it: a board may keep /tmp in its memory.
    beside = book.parent if os.access(book.parent, os.W_OK) else None
    try:
        with tempfile.TemporaryDirectory(dir=beside) as folder:
            seen = Path(folder) / book.name
            copy_with_its_journals(book, seen)
            with closing(sqlite3.connect(seen)) as copy:
                (verdict,) = copy.execute("PRAGMA quick_check").fetchone()
                return replace(facts, book=str(verdict))
    except (OSError, sqlite3.Error) as error:
        reason = fault_of_card(error)
        if reason:
            return replace(facts, book_is_unread=reason)
        return replace(facts, book=f"{error}.")
