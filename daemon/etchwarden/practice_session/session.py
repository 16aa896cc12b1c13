"""One practice session: its processes, where they meet, and an etch from load to record."""

import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Final

import click

from etchpractice.scenario.people import ANSWERS
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.shared.progress import progress_shown
from etchweb.previews.store import PICTURES_FOLDER, draw_path, keep_picture
from etchwire.calls.client import DaemonClient
from etchwire.calls.machine import Arm, Load, SetOrigin, Start, Status
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, read_sheet
from etchwire.transport.line_client import LineClient

_PICTURE_PATIENCE_S: Final = 60.0
_PRESS_EVERY_LOOKS: Final = 10  # about a second of the wall's


@dataclass(frozen=True, slots=True)
class Session:
    """Practice machine, daemon and page, processes that meet in one folder."""

    processes: ProcessGroup
    folder: Path

    @property
    def job(self) -> Path:
        """The folder of the job to etch."""
        return self.folder / "job"

    @property
    def records(self) -> Path:
        """The daemon's folder."""
        return self.folder / "records"

    @property
    def page(self) -> Path:
        """The page's folder."""
        return self.folder / "page"

    @property
    def socket(self) -> Path:
        """Where the daemon answers."""
        return self.folder / "daemon.sock"

    def start_machine(
        self, *arguments: str, box: Path | None = None, is_new_box: bool = False
    ) -> None:
        """Start the practice machine, and the daemon on its port.

        `box` says how it is wired; a new box knows no laser and no recipe.
        """
        self.processes.start(
            "practice machine", "machine", "--folder", str(self._machine), *arguments
        )
        self.processes.wait_until(self._control.is_socket)
        self.start_daemon(box, is_new_box=is_new_box)

    def keep_box(self, wiring: str) -> Path:
        """Write how the box is wired into a file, and return that."""
        path = self.folder / "box.toml"
        path.write_text(wiring, encoding="utf-8")
        return path

    def start_daemon(self, box: Path | None = None, *, is_new_box: bool = False) -> None:
        """Start the daemon on the practice machine that is there, and wait until it answers."""
        self.launch_daemon(box, is_new_box=is_new_box)
        self.processes.wait_until(self.socket.is_socket)

    def launch_daemon(
        self, box: Path | None = None, port: str | None = None, *, is_new_box: bool = False
    ) -> None:
        """Start the daemon, on another port than its own where one is given; it may not run."""
        wiring = () if box is None else ("--box", str(box))
        begins = ("--new-box",) if is_new_box else ()
        self.processes.start(
            "daemon", "daemon", "--port", port or str(self._machine / "port"),
            "--socket", str(self.socket), "--state", str(self.records),
            "--practice", str(self._machine), *wiring, *begins,
        )  # fmt: skip

    def keep_pictures(self) -> None:
        """Put the job's picture, and that of the head's path, where the page finds them."""
        pictures, gcode_sha256 = self.page / PICTURES_FOLDER, read_sheet(self.job).gcode_sha256
        keep_picture(self.job / PICTURE_NAME, folder=pictures, gcode_sha256=gcode_sha256)
        draw_path(self.job, folder=pictures, gcode_sha256=gcode_sha256)

    def start_page(self, port: int) -> None:
        """Start the page at `port` of this machine alone."""
        self.processes.start(
            "page", "page", "--daemon", str(self.socket), "--folder", str(self.page),
            "--port", str(port), "--open-to-loopback", "--practice", str(self._machine),
        )  # fmt: skip
        self.processes.wait_until(lambda: _is_answered(port))

    def load(self, daemon: DaemonClient) -> None:
        """Hand the job to the daemon."""
        gcode, sheet = self.job / GCODE_NAME, self.job / SHEET_NAME
        with gcode.open("rb") as gcode_file, sheet.open("rb") as sheet_file:
            daemon.ask(Load(gcode_fd=gcode_file.fileno(), sheet_fd=sheet_file.fileno()))

    def set_origin(self, daemon: DaemonClient) -> None:
        """Take the head's place as the origin where none is known, as soon as that is offered."""
        self.processes.wait_until(lambda: "set_origin" in daemon.ask(Status()).may)
        if not daemon.ask(Status()).machine.origin.is_known:
            daemon.ask(SetOrigin())

    def begin_etch(self) -> None:
        """Load the job, arm as a person at the machine would, and start."""
        with self.ask_daemon() as daemon:
            self.load(daemon)
            self.arm(daemon)
            daemon.ask(Start(acknowledge_long_run=True))

    def arm(self, daemon: DaemonClient, *, acknowledge: Sequence[str] = ()) -> None:
        """Set the origin and arm as a person at the machine would, until a start is offered.

        On a computer that kept the daemon from running for half a second the safety relay has
        fallen, and until somebody presses the button nothing can be armed.
        """
        self.set_origin(daemon)
        self.press_until(lambda: "arm" in daemon.ask(Status()).may)
        daemon.ask(Arm(answers=dict(ANSWERS), acknowledge=tuple(acknowledge)))
        self.press_until(lambda: "start" in daemon.ask(Status()).may)

    def press_until(self, is_seen: Callable[[], bool]) -> None:
        """Press the button at the machine until that was noticed.

        A press lasts a fifth of a second, which a busy computer may sleep through: so it is
        pressed again every second.
        """
        looks = count()
        with self.ask_machine() as machine:

            def was_seen() -> bool:
                if is_seen():
                    return True
                if next(looks) % _PRESS_EVERY_LOOKS == 0:
                    machine.call("press_button")
                return False

            self.processes.wait_until(was_seen)

    def watch_etch(self) -> int:
        """Show the etch's progress until it has ended, and return the number of the run."""
        with self.ask_daemon() as daemon, progress_shown("Etching") as show:
            for snapshot in daemon.watch():
                self.processes.require_all()
                run = snapshot.run
                if run is None:
                    continue
                show(run.share)
                if run.ended is not None:
                    return run.id
        raise click.ClickException("The daemon went silent before the run had ended.")

    def ask_daemon(self) -> DaemonClient:
        """Return a connection to the daemon."""
        return DaemonClient(self.socket)

    def ask_machine(self) -> LineClient:
        """Return a connection to the practice machine's verbs."""
        return LineClient(self._control, peer="the practice machine", timeout_s=_PICTURE_PATIENCE_S)

    @property
    def _machine(self) -> Path:
        return self.folder / "machine"

    @property
    def _control(self) -> Path:
        return self._machine / "control.sock"


def _is_answered(port: int) -> bool:
    with socket.socket() as knock:
        return knock.connect_ex(("127.0.0.1", port)) == 0
