"""A configuration as a whole, from its file."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from etchdaemon.configuration.machine_section import read_head, read_port
from etchdaemon.configuration.pin_map import PinMap
from etchdaemon.configuration.sections import (
    read_attendance,
    read_changes,
    read_extraction,
    read_flame,
    read_pins,
)
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.setup import Setup
from etchwire.catalogue.heads import Head
from etchwire.configuration.source import Source
from etchwire.configuration.tables import Table, read_tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Configuration:
    """How a machine is wired and set. Without a lid contact it starts, but only to watch.

    `port` is empty where the file does not name one.
    """

    pins: PinMap
    setup: Setup
    port: str = ""
    head: Head | None = None


def read_configuration(text: str, *, is_practice: bool = False) -> Configuration:
    """Read a configuration; raise FaultyConfiguration naming everything that is wrong."""
    return Source.of(text).read_by(partial(_read, is_practice=is_practice))


def load_configuration(path: Path, *, is_practice: bool = False) -> Configuration:
    """Read the file at `path`; raise FaultyConfiguration."""
    return Source.at(path).read_by(partial(_read, is_practice=is_practice))


def configuration_of(values: Mapping[str, object]) -> Configuration:
    """Read the tables of a configuration; raise FaultyConfiguration, which knows of no lines."""
    return read_tables(values, partial(_read, is_practice=False))


def _read(root: Table, *, is_practice: bool) -> Configuration:
    """Read a whole file.

    A practice box may wait shorter for people, so that nobody practises for half an hour.
    """
    pins = read_pins(root)
    times, fire = read_extraction(root.table("extraction"))
    attendance = read_attendance(root.table("attendance"), is_practice=is_practice)
    laser, interlocks = root.table("laser"), root.table("interlocks")
    flame = read_flame(interlocks)
    fire = {name: change.and_also(flame.get(name)) for name, change in fire.items()}
    changes = read_changes(root) | flame | fire
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
    configuration = Configuration(
        pins=pins, setup=setup, port=read_port(root), head=read_head(root)
    )
    root.done()
    return configuration
