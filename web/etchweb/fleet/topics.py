"""What a box tells the broker, and under which topics: Homie 5, read-only.

The convention (https://homieiot.github.io, version 5.0, from memory): `homie/5/DEVICE/$state`,
`$description` as JSON, and `NODE/PROPERTY`, all of them retained. Nothing of ours is settable, so
there is no topic by which a box could be told anything.
"""

import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from etchweb.text.causes import STATES as STATES_IN_WORDS
from etchweb.text.causes import cause_of, trip_words
from etchweb.text.formatting import as_sentence
from etchwire.calls.snapshot import JobView, RunView, Snapshot

ROOT: Final = "homie/5"
STATE: Final = "$state"
DESCRIPTION: Final = "$description"
# Homie 5, "Device Lifecycle" (from memory). A box neither sleeps nor is asked for anything by MQTT.
INIT: Final = "init"  # connected, and not ready: not all is said yet, or no daemon answers
READY: Final = "ready"
AWAY: Final = "disconnected"  # it said goodbye
LOST: Final = "lost"  # the last will: nobody said goodbye
OF_OURS: Final = "etchwarden-etch"  # the type of a node, by which our boxes are told from others


@dataclass(frozen=True, slots=True, kw_only=True)
class Property:
    """One thing that is reported: where it stands in a snapshot, and as what Homie shows it."""

    path: str
    name: str
    datatype: str
    value: Callable[[Snapshot], object]
    unit: str | None = None
    format: str | None = None


def _of_run(read: Callable[[RunView], object]) -> Callable[[Snapshot], object]:
    return lambda snapshot: None if snapshot.run is None else read(snapshot.run)


def _of_job(read: Callable[[JobView], object]) -> Callable[[Snapshot], object]:
    return lambda snapshot: None if snapshot.job is None else read(snapshot.job)


def _percent(snapshot: Snapshot) -> float | None:
    return None if snapshot.run is None else round(100 * snapshot.run.share, 1)


def _remaining_s(snapshot: Snapshot) -> int | None:
    remaining_s = None if snapshot.run is None else snapshot.run.remaining_s
    return None if remaining_s is None else round(remaining_s / 10) * 10  # no news every second


def _unmet(snapshot: Snapshot) -> str:
    rules = snapshot.interlocks.rules
    return ", ".join(rule.name for rule in rules if rule.state != "good")


def _trips(snapshot: Snapshot) -> str:
    return ", ".join(trip.name for trip in snapshot.interlocks.trips)


def _wrong(snapshot: Snapshot) -> str:
    """Return what keeps the box from etching in its present phase, in the interlocks' sentences."""
    report = snapshot.interlocks
    tripped = {trip.name for trip in report.trips}
    said = [trip_words(trip, report) for trip in report.trips]
    said += [
        as_sentence(rule.sentence or f"{cause_of(rule.name).label}: {STATES_IN_WORDS[rule.state]}")
        for rule in report.rules
        if rule.state != "good" and rule.is_required and rule.name not in tripped
    ]
    return " ".join(said)


STATES: Final = "starting,idle,loaded,armed,etching,holding,held,resuming,stopping,ended"
PROPERTIES: Final = (
    Property(path="etch/state", name="State", datatype="enum", format=STATES,
             value=lambda snapshot: snapshot.state),
    Property(path="etch/sentence", name="In a sentence", datatype="string",
             value=lambda snapshot: snapshot.sentence),
    Property(path="etch/picture", name="Picture", datatype="string",
             value=_of_job(lambda job: job.title)),
    Property(path="etch/progress", name="Progress", datatype="float", format="0:100", unit="%",
             value=_percent),
    Property(path="etch/rows-done", name="Rows done", datatype="integer",
             value=_of_run(lambda run: run.etched_rows)),
    Property(path="etch/rows", name="Rows", datatype="integer",
             value=_of_job(lambda job: job.rows)),
    Property(path="etch/remaining", name="Time left", datatype="integer", unit="s",
             value=_remaining_s),
    Property(path="etch/ended", name="How it ended", datatype="string",
             value=_of_run(lambda run: run.ended)),
    Property(path="machine/link", name="Controller", datatype="string",
             value=lambda snapshot: snapshot.machine.link),
    Property(path="interlocks/phase", name="Phase", datatype="string",
             value=lambda snapshot: snapshot.interlocks.phase),
    Property(path="interlocks/unmet", name="Not good now", datatype="string", value=_unmet),
    Property(path="interlocks/wrong", name="What is wrong", datatype="string", value=_wrong),
    Property(path="interlocks/trips", name="To be reset", datatype="string", value=_trips),
    Property(path="records/trouble", name="Trouble with the records", datatype="string",
             value=lambda snapshot: " ".join(snapshot.troubles)),
)  # fmt: skip
BEAM_HOURS: Final = Property(
    path="machine/beam-hours",
    name="Hours of beam",
    datatype="float",
    unit="h",
    value=lambda _: None,
)
PAGE: Final = Property(path="machine/page", name="Page", datatype="string", value=lambda _: None)
NODES: Final = {
    "etch": ("Etch", OF_OURS),
    "machine": ("Machine", "etchwarden-machine"),
    "interlocks": ("Interlocks", "etchwarden-interlocks"),
    "records": ("Records", "etchwarden-records"),
}


def base_of(box: str) -> str:
    """Return what all topics of a box begin with."""
    return f"{ROOT}/{box}"


def description(box: str) -> str:
    """Return the box's `$description`: one JSON document, with a version of its content."""
    properties: dict[str, dict[str, object]] = {node: {} for node in NODES}
    for one in (*PROPERTIES, BEAM_HOURS, PAGE):
        node, name = one.path.split("/")
        shown = {"name": one.name, "datatype": one.datatype, "unit": one.unit, "format": one.format}
        properties[node][name] = {
            **{key: value for key, value in shown.items() if value is not None},
            "settable": False,
            "retained": True,
        }
    nodes = {
        node: {"name": name, "type": kind, "properties": properties[node]}
        for node, (name, kind) in NODES.items()
    }
    told = {"homie": "5.0", "name": box, "nodes": nodes}
    return json.dumps(told | {"version": zlib.crc32(json.dumps(told).encode())})


def values_of(snapshot: Snapshot) -> dict[str, str]:
    """Return what the snapshot says, by the property's path, as Homie writes it."""
    return {one.path: as_payload(one.value(snapshot)) for one in PROPERTIES}


def as_payload(value: object) -> str:
    """Return a value as its payload; what is not known is an empty string of ours.

    Homie writes an empty string as one zero byte, because an empty payload would clear the topic.
    """
    return "\0" if value is None or value == "" else str(value)
