"""A configuration as a whole, from its file."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from etchdaemon.configuration.faults import Fault, FaultyConfiguration, Reason
from etchdaemon.configuration.pin_map import PinMap
from etchdaemon.configuration.sections import (
    read_attendance,
    read_changes,
    read_extraction,
    read_pins,
)
from etchdaemon.configuration.tables import Table
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.setup import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Configuration:
    """How a box is wired and set. Without a lid contact it starts, but only to watch."""

    pins: PinMap
    setup: Setup


def read_configuration(text: str) -> Configuration:
    """Read a configuration; raise FaultyConfiguration naming everything that is wrong."""
    faults: list[Fault] = []
    try:
        root = Table(tomllib.loads(text), "", faults)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FaultyConfiguration([Fault(Reason.NOT_TOML, "the file", f"{error}.")]) from error
    configuration = _read(root)
    root.done()
    if faults:
        raise FaultyConfiguration(faults)
    return configuration


def load_configuration(path: Path) -> Configuration:
    """Read the file at `path`; raise FaultyConfiguration."""
    try:
        text = path.read_bytes().decode()
    except OSError as error:
        fault = Fault(Reason.UNREADABLE, str(path), f"{error.strerror}.")
        raise FaultyConfiguration([fault]) from error
    except UnicodeDecodeError as error:
        fault = Fault(Reason.NOT_TOML, str(path), "it is not text in UTF-8.")
        raise FaultyConfiguration([fault]) from error
    return read_configuration(text)


def _read(root: Table) -> Configuration:
    pins = read_pins(root)
    times, fire = read_extraction(root.table("extraction"))
    attendance = read_attendance(root.table("attendance"))
    changes = read_changes(root) | fire
    laser, interlocks = root.table("laser"), root.table("interlocks")
    setup = Setup(
        wired=frozenset(map(Input, pins.inputs)) | frozenset(map(Output, pins.outputs)),
        changes=changes,
        extraction=times,
        attendance=attendance,
        stable_s=interlocks.number("stable_s", 0.5, least=0.2, most=10.0),
        beam_enable_settle_s=laser.number("beam_enable_settle_s", 0.0, least=0.0, most=60.0),
    )
    laser.done()
    interlocks.done()
    return Configuration(pins=pins, setup=setup)
