"""What the daemon needs from outside, as protocols: where real and simulated parts meet."""

from etchdaemon.ports.box import BeamEnable, Board, BoxOperator, BoxRecords, Guard
from etchdaemon.ports.jobs import Preflight, PreflightReport, RestWriter
from etchdaemon.ports.logbook import History, Records, RunEnd, RunNote
from etchdaemon.ports.machine import BytePort, Clock, Doorbell, PortOpener
from etchdaemon.ports.people import Operator

__all__ = [
    "BeamEnable",
    "Board",
    "BoxOperator",
    "BoxRecords",
    "BytePort",
    "Clock",
    "Doorbell",
    "Guard",
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
