"""What the commands about the machine itself say to the daemon, and wait for."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import click

from etchwire.calls.client import DaemonClient
from etchwire.calls.machine import Status, Stop
from etchwire.calls.snapshot import MachineView
from etchwire.errors import WireError

LOOKS_EVERY_S: Final = 0.2


@contextmanager
def daemon_at(socket: Path) -> Iterator[DaemonClient]:
    """Hand out a connection to the daemon; what it refuses is said to the person."""
    try:
        with DaemonClient(socket) as daemon:
            yield daemon
    except WireError as error:
        raise click.ClickException(sentence(error)) from error


def sentence(error: Exception) -> str:
    """Return the error as one sentence with its full stop."""
    text = str(error)
    return text if text.endswith(".") else f"{text}."


def await_rest(daemon: DaemonClient) -> None:
    """Say where the head has come to; Ctrl-C stops it on its way."""
    try:
        machine = _machine_at_rest(daemon)
    except KeyboardInterrupt:
        daemon.ask(Stop())
        machine = _machine_at_rest(daemon)
    click.echo(machine.moved or machine.sentence)
    if machine.position_mm is not None:
        x_mm, y_mm = machine.position_mm
        click.echo(f"The head is at x {x_mm:z.2f}, y {y_mm:z.2f} mm, counted from the origin.")


def _machine_at_rest(daemon: DaemonClient) -> MachineView:
    while True:
        machine = daemon.ask(Status()).machine
        if not machine.is_moving and machine.link != "opening":
            return machine
        time.sleep(LOOKS_EVERY_S)
