"""From a line of the controller to an event."""

import re
from collections.abc import Callable, Mapping
from typing import Final

from etchdaemon.controller.events import (
    AlarmRaised,
    BuildReported,
    Event,
    Greeted,
    LineAccepted,
    LineRefused,
    MessagePushed,
    OffsetReported,
    ParserStateReported,
    PushReceived,
    SettingReported,
    Unreadable,
    VersionReported,
)
from etchdaemon.controller.firmware import GREETING, which_firmware
from etchdaemon.controller.report import (
    parse_numbers,
    parse_place,
    parse_report,
    parse_whole,
)

ACCEPTED: Final = LineAccepted()


def parse_line(data: bytes) -> Event:
    """Return what `data`, a line without its end, means; never raise.

    What is no line of the protocol is returned as Unreadable, for the caller to judge.
    """
    try:
        text = data.decode("ascii")
        for form, read in _FORMS:
            if found := form.fullmatch(text):
                return read(found)
    except ValueError:  # UnicodeDecodeError is one too
        pass
    return Unreadable(data)


def _read_push(found: re.Match[str]) -> Event:
    kind, text = found[1], found[2]
    if kind in _ORIGINS:
        return OffsetReported(kind, parse_place(text))
    if kind == "TLO":  # a length only, or one for each axis
        return OffsetReported(kind, parse_numbers(text))
    read = _PUSHES.get(kind)
    return PushReceived(found[0]) if read is None else read(text)


def _read_build(text: str) -> Event:
    letters, blocks, receive_bytes, *_ = text.split(",")
    return BuildReported(letters, parse_whole(blocks), parse_whole(receive_bytes))


_ORIGINS: Final = frozenset(("G54", "G55", "G56", "G57", "G58", "G59", "G28", "G30", "G92"))

_PUSHES: Final[Mapping[str, Callable[[str], Event]]] = {
    "MSG": MessagePushed,
    "VER": VersionReported,
    "OPT": _read_build,
    "GC": lambda text: ParserStateReported(tuple(text.split())),
}

_FORMS: Final[tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], Event]], ...]] = (
    (re.compile(r"ok"), lambda _: ACCEPTED),
    (re.compile(r"<(.*)>"), lambda found: parse_report(found[1])),
    (re.compile(r"error:(\d{1,3})"), lambda found: LineRefused(int(found[1]), "")),
    (re.compile(r"ALARM:(\d{1,3})"), lambda found: AlarmRaised(int(found[1]))),
    (re.compile(r"\[([^:\]]*+):?(.*)\]"), _read_push),
    (re.compile(r"\$(\d{1,4})=(\S*).*"), lambda found: SettingReported(int(found[1]), found[2])),
    (GREETING, lambda found: Greeted(which_firmware(found[0]), found[0])),
    (re.compile(r"\$N\d=.*|>.*:(ok|error:\d+)"), lambda found: PushReceived(found[0])),
)
