"""The board that a release is changed on: its units, its records, its machines at work."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etchwarden.installation.errors import InstallationError, StepFailed
from etchwarden.installation.keeping import Copy, copy_records, put_back
from etchwarden.installation.paths import Places
from etchwarden.installation.programs import run
from etchwire.errors import DaemonAbsent, WireError
from etchwire.transport.json_text import JsonTable
from etchwire.transport.line_client import LineClient

# A machine in one of these states must not lose its daemon.
AT_WORK: Final = frozenset({"armed", "etching", "holding", "held", "resuming", "stopping"})
PATIENCE_S: Final = 60  # a small board takes its time to start a daemon
PAGE_UNIT: Final = "etchwarden-web.service"
DAEMON_TEMPLATE: Final = "etchwarden-daemon@.service"
# Patterns stand for the units that are loaded; a name that is not loaded would be an error.
OUR_UNITS: Final = ("etchwarden-daemon@*.service", "etchwarden-web*.service")
UNIT_FOLDER: Final = "etc/systemd/system"
SYSTEMD_RUNS: Final = Path("/run/systemd/system")
SETTLING: Final = (
    ("systemd-sysusers", "/etc/sysusers.d/etchwarden.conf"),
    ("systemd-tmpfiles", "--create", "/etc/tmpfiles.d/etchwarden.conf"),
    ("systemctl", "daemon-reload"),
    ("systemctl", "restart", "systemd-modules-load.service"),
    ("udevadm", "control", "--reload"),
    ("udevadm", "trigger", "--subsystem-match=tty", "--subsystem-match=gpio"),
    ("systemctl", "try-restart", "systemd-journald.service"),
)
# What may fail without harm, and what to do about it: a container has no devices of its own, and
# modules cannot be loaded between an update of the kernel and the restart that brings it.
AFTER_FAILURE: Final = {
    "udevadm": "Restart the board once, so that it takes note of the rules for its devices.",
    "systemctl restart": "Restart the board once, so that it loads the drivers for adapters.",
    "systemctl try-restart": "Restart the board once, so that its journal is kept small.",
}


def status_at(socket: Path) -> JsonTable | None:
    """Ask the daemon at `socket` how it stands; None when there is none; raise WireError."""
    try:
        with LineClient(socket) as daemon:
            status: JsonTable = daemon.call("status")
            return status
    except DaemonAbsent as absent:
        if isinstance(absent.__cause__, (FileNotFoundError, ConnectionRefusedError)):
            return None
        raise


@dataclass(frozen=True, slots=True)
class LiveBoard:
    """This computer, by its own service manager.

    `tell` runs one of the system's programs; `has_units`: whether a service manager runs here
    and is to be told anything.
    """

    places: Places
    say: Callable[[str], None]
    status_of: Callable[[Path], JsonTable | None] = status_at
    tell: Callable[[Sequence[str]], str] = run
    has_units: bool = False

    @classmethod
    def here(cls, places: Places, say: Callable[[str], None]) -> "LiveBoard":
        """Return the board that `places` are on; a folder that plays one has no units."""
        return cls(places, say, has_units=places.is_board and SYSTEMD_RUNS.is_dir())

    def busy(self) -> tuple[str, ...]:
        """Ask every daemon there is; one that has ended is at no work."""
        return tuple(self._busy())

    def stop(self) -> None:
        """End page and daemons, as far as they run, also where a machine's file has gone."""
        if self.has_units:
            self.tell(["systemctl", "stop", *OUR_UNITS])

    def back_up(self, earlier: tuple[Copy, ...]) -> tuple[Copy, ...]:
        """Copy every machine's records, and the page's."""
        return tuple(copy_records(self.places, earlier))

    def put_back(self, copies: tuple[Copy, ...]) -> None:
        """Put back what a newer release has rewritten."""
        for copy in copies:
            if put_back(copy):
                self.say(f"{copy.live} was put back as it was before the change.")

    def settle(self) -> None:
        """Run the system's own programs for users, folders, devices and units."""
        if not self.has_units:
            self.say("No systemd starts programs here, so nothing is told and nothing is started.")
            return
        for command in SETTLING:
            try:
                self.tell(command)
            except StepFailed as failure:
                advice = AFTER_FAILURE.get(command[0]) or AFTER_FAILURE.get(" ".join(command[:2]))
                if advice is None:
                    raise
                self.say(f"{failure}\n{advice}")

    def start(self) -> None:
        """Start the page, and the daemons that start with the board; the self-check waits for them.

        Not those that their owner has not enabled, or has disabled.
        """
        if self.has_units:
            self.tell(["systemctl", "enable", PAGE_UNIT])
            self.tell(
                ["systemctl", "start", "--no-block", *self._daemons(self._enabled()), PAGE_UNIT]
            )

    def faults(self) -> tuple[str, ...]:
        """Ask the release's own self-check about the page and the daemons that should answer."""
        if not self.has_units:
            return ()
        named = [f"--machine={name}" for name in self._enabled() if self._was_in_order(name)]
        doctor = [str(self.places.current / "bin/etchwarden"), "doctor", "--release"]
        try:
            self.tell([*doctor, f"--patience={PATIENCE_S}", *named])
        except InstallationError as failure:
            return (str(failure),)
        return ()

    def disable(self) -> None:
        """End page and daemons and have them not come back.

        What an earlier attempt has taken away is not enabled any more, and not known to disable.
        """
        self.stop()
        folder = self.places.root / UNIT_FOLDER
        names = self.places.machines() if (folder / DAEMON_TEMPLATE).exists() else ()
        units = [*self._daemons(names), *([PAGE_UNIT] if (folder / PAGE_UNIT).exists() else [])]
        if self.has_units and units:
            self.tell(["systemctl", "disable", *units])

    def forget(self) -> None:
        """Have the system notice that units and device rules are gone."""
        if self.has_units:
            self.tell(["systemctl", "daemon-reload"])

    def _busy(self) -> Iterator[str]:
        for name in self.places.machines_that_run():
            try:
                status = self.status_of(self.places.socket(name))
            except WireError as error:
                yield (
                    f"Whether the machine “{name}” is at work is not known: {error}\nWhen it is"
                    f" not: sudo systemctl stop etchwarden-daemon@{name}"
                )
                continue
            if status is not None and status["state"] in AT_WORK:
                yield f"The machine “{name}” is at work: {status['sentence']}"

    def _enabled(self) -> list[str]:
        return [name for name in self.places.machines() if self._is_enabled(name)]

    def _is_enabled(self, name: str) -> bool:
        try:
            self.tell(["systemctl", "is-enabled", "--quiet", f"etchwarden-daemon@{name}.service"])
        except StepFailed:
            return False
        return True

    def _was_in_order(self, name: str) -> bool:
        """Ask the release before about a machine's file: what it refused, no other need take."""
        before = self.places.previous / "bin/etchwarden"
        if not before.exists():
            return True
        folder = str(self.places.settings)
        try:
            self.tell([str(before), "configure", name, "--check", "--folder", folder])
        except StepFailed as failure:
            self.say(f"Left out of the self-check, as it was not in order before:\n{failure}")
            return False
        return True

    @staticmethod
    def _daemons(names: Sequence[str]) -> list[str]:
        return [f"etchwarden-daemon@{name}.service" for name in names]
