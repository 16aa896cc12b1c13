"""The board that a release is changed on: its units, its records, its machines at work."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from etchwarden.installation.errors import InstallationError, StepFailed
from etchwarden.installation.keeping import Copy, copy_records, put_back
from etchwarden.installation.places import Places
from etchwarden.installation.releases import run
from etchwire.client import DaemonClient
from etchwire.errors import WireError

# A machine in one of these states must not lose its daemon.
AT_WORK: Final = frozenset({"armed", "etching", "holding", "held", "resuming", "stopping"})
PATIENCE_S: Final = 60  # a small board takes its time to start a daemon
PAGE_UNIT: Final = "etchwarden-web.service"
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
# What a container or a board without a device manager may lack or refuse, without harm.
MAY_FAIL: Final = frozenset({"udevadm"})


def status_at(socket: Path) -> dict[str, Any] | None:
    """Ask the daemon at `socket` how it stands; None when it is away."""
    try:
        with DaemonClient(socket) as daemon:
            status: dict[str, Any] = daemon.call("status")
            return status
    except WireError:
        return None


@dataclass(slots=True)
class LiveBoard:
    """This computer, by its own service manager."""

    places: Places
    say: Callable[[str], None]
    status_of: Callable[[Path], dict[str, Any] | None] = status_at
    _answering: tuple[str, ...] = ()
    _copies: list[Copy] = field(default_factory=list)

    def busy(self) -> tuple[str, ...]:
        """Ask every daemon that answers; one that is away is at no work."""
        states = (
            (name, self.status_of(self.places.socket(name))) for name in self.places.machines()
        )
        return tuple(
            f"The machine “{name}” is at work: {status['sentence']}"
            for name, status in states
            if status is not None and status["state"] in AT_WORK
        )

    def stop(self) -> None:
        """End page and daemons, as far as they run."""
        if self._has_units:
            run(["systemctl", "stop", *self._units])

    def back_up(self) -> None:
        """Copy every machine's records, and the page's."""
        self._copies = list(copy_records(self.places))

    def put_back(self) -> None:
        """Put back what a newer release has rewritten."""
        for copy in self._copies:
            if put_back(copy):
                self.say(f"{copy.live} was put back as it was before the change.")

    def settle(self) -> None:
        """Run the system's own programs for users, folders, devices and units."""
        if not self._has_units:
            self.say("No systemd runs here, so it was told nothing.")
            return
        for command in SETTLING:
            try:
                run(list(command))
            except StepFailed as failure:
                if command[0] not in MAY_FAIL:
                    raise
                self.say(str(failure))

    def start(self) -> None:
        """Enable and start daemons and page."""
        if self._has_units:
            run(["systemctl", "enable", "--now", *self._units])

    def faults(self) -> tuple[str, ...]:
        """Ask the release's own self-check about the page and the machines that answered before."""
        if not self._has_units:
            return ()
        machines = [f"--machine={name}" for name in self._answering or self.places.machines()]
        doctor = [str(self.places.current / "bin/etchwarden"), "doctor", "--release"]
        try:
            run([*doctor, f"--patience={PATIENCE_S}", *machines])
        except InstallationError as failure:
            return (str(failure),)
        return ()

    def disable(self) -> None:
        """End page and daemons and have them not come back."""
        if self._has_units:
            run(["systemctl", "disable", "--now", *self._units])

    def forget(self) -> None:
        """Have the system notice that units and device rules are gone."""
        if self._has_units:
            run(["systemctl", "daemon-reload"])

    @property
    def _has_units(self) -> bool:
        return self.places.is_board and SYSTEMD_RUNS.is_dir()

    @property
    def _units(self) -> list[str]:
        daemons = [f"etchwarden-daemon@{name}.service" for name in self.places.machines()]
        return [*daemons, PAGE_UNIT]
