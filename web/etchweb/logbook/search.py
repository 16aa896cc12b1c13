"""What is sought in the logbook: from the address of a page to the daemon's terms; pure."""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Final

SOUGHT: Final = ("laser", "surface", "verdict", "since", "until", "text")
LONGEST_TERM: Final = 80
_DAYS: Final = ("since", "until")
_AFTER_MIDNIGHT: Final = timedelta(days=1)
_ON_THE_WIRE: Final = {"laser": "head"}


def sought_in(arguments: Mapping[str, str]) -> dict[str, str]:
    """Return what an address asks for; what is no day is not asked for."""
    sought = {name: arguments.get(name, "").strip()[:LONGEST_TERM] for name in SOUGHT}
    return {
        name: "" if name in _DAYS and _day(term) is None else term for name, term in sought.items()
    }


def wire_terms(sought: Mapping[str, str]) -> dict[str, str]:
    """Return the same for the daemon, which compares moments in UTC; days are the box's own."""
    terms = {_ON_THE_WIRE.get(name, name): term for name, term in sought.items() if term}
    if first := _day(sought["since"]):
        terms["since"] = _utc(first, after=timedelta())
    if last := _day(sought["until"]):
        terms["until"] = _utc(last, after=_AFTER_MIDNIGHT - timedelta(seconds=1))
    return terms


def _day(term: str) -> date | None:
    try:
        return date.fromisoformat(term)
    except ValueError:
        return None


def _utc(day: date, *, after: timedelta) -> str:
    moment = (datetime.combine(day, time()) + after).astimezone()
    return (moment - (moment.utcoffset() or timedelta())).strftime("%Y-%m-%dT%H:%M:%S")
