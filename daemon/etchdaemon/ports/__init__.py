"""What the daemon needs from outside, as protocols: where real and simulated parts meet."""

from etchdaemon.ports.box import BeamEnable, Board, BoxRecords
from etchdaemon.ports.jobs import Preflight, PreflightReport, RestWriter
from etchdaemon.ports.logbook import History, Records, RunEnd, RunNote
from etchdaemon.ports.machine import BytePort, Clock, Doorbell, PortOpener
from etchdaemon.ports.people import Operator

__all__ = [
    "BeamEnable",
    "Board",
    "BoxRecords",
    "BytePort",
    "Clock",
    "Doorbell",
    "History",
    "Operator",
    "PortOpener",
    "Preflight",
    "PreflightReport",
    "Records",
    "RestWriter",
    "RunEnd",
    "RunNote",
]
