"""Moments on a page: the box's own clock and calendar, until a script puts the phone's in place."""

from datetime import UTC, date, datetime

from markupsafe import Markup


def clock_time(at_utc: str) -> str:
    """Return the clock time of a moment in ISO 8601: 17:40."""
    return _local(at_utc).strftime("%H:%M") if at_utc else ""


def day(on: str) -> str:
    """Return a day in ISO 8601 as a person writes it: 1 Dec 2026."""
    return date.fromisoformat(on).strftime("%-d %b %Y")


def moment(at: str | float) -> Markup:
    """Return a `time` element for a moment in ISO 8601, or in seconds since 1970."""
    when = _local(at)
    return Markup('<time data-moment datetime="{}">{}</time>').format(
        when.astimezone(UTC).isoformat(timespec="seconds"), when.strftime("%-d %b %Y, %H:%M")
    )


def _local(at: str | float) -> datetime:
    if isinstance(at, str):
        return datetime.fromisoformat(at).astimezone()
    return datetime.fromtimestamp(at, UTC).astimezone()
