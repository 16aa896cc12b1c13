"""The table `alerts` of the page's settings: who is told what; every fault is named."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from types import UnionType
from typing import Any, Final
from urllib.parse import urlsplit

from etchweb.alerts.channels import Channel, Mail, Webhook
from etchweb.alerts.outbox import AlertPreferences
from etchwire.alert_policy import ALWAYS, Alert
from etchwire.transport.json_text import JsonTable

HELD_LONG_MIN: Final = 10.0
SECURITIES: Final = {"starttls": 587, "tls": 465, "none": 25}
_READABLE_BY_ALL: Final = 0o004

_ALERTS: Final = frozenset({"tell", "held_long_min", "webhook", "mail"})
_WEBHOOK: Final = frozenset({"url", "secret_file"})
_MAIL: Final = frozenset({"host", "port", "security", "user", "password_file", "sender", "to"})


class FaultyAlerts(ValueError):
    """The table cannot be used; the message names everything that is wrong with it."""


@dataclass(frozen=True, slots=True)
class AlertSettings:
    """What is told, and by which ways."""

    wanted: AlertPreferences
    channels: Mapping[str, Channel]


@dataclass(slots=True)
class _Reader:
    """Reads one table and collects what is wrong with it."""

    where: str
    table: JsonTable
    faults: list[str] = field(default_factory=list)

    def check_names(self, known: frozenset[str]) -> None:
        for name in sorted(set(self.table) - known):
            near = get_close_matches(name, sorted(known), n=1, cutoff=0.5)
            hint = f"Did you mean “{near[0]}”?" if near else f"Known: {', '.join(sorted(known))}."
            self.fault(name, f"there is no such name here. {hint}")

    def take(self, name: str, kind: type[Any] | UnionType, otherwise: Any = None) -> Any:
        value = self.table.get(name, otherwise)
        is_right = isinstance(value, kind) and not (isinstance(value, bool) and kind is not bool)
        if value is not None and not is_right:
            self.fault(name, "is of the wrong kind.")
            return otherwise
        if value is None:
            self.fault(name, "is missing.")
        return value

    def secret(self, name: str) -> str | None:
        """Return what stands in the file that `name` names; nobody else may read it."""
        if name not in self.table:
            return None
        path = Path(str(self.table[name]))
        try:
            if path.stat().st_mode & _READABLE_BY_ALL:
                self.fault(name, f"{path} can be read by everybody. Run: chmod o-r {path}")
            return path.read_text().strip()
        except (OSError, UnicodeDecodeError) as error:
            self.fault(name, f"{path} cannot be read: {getattr(error, 'strerror', error)}.")
            return None

    def fault(self, name: str, sentence: str) -> None:
        self.faults.append(f"{self.where}.{name}: {sentence}")


def alert_settings(table: JsonTable) -> AlertSettings:
    """Return what the table `alerts` asks for; raise FaultyAlerts."""
    reader = _Reader("alerts", table)
    reader.check_names(_ALERTS)
    channels: dict[str, Channel] = {}
    makers: Mapping[str, Callable[[_Reader], Channel | None]] = {"webhook": _webhook, "mail": _mail}
    for name, make in makers.items():
        if name not in table:
            continue
        if not isinstance(table[name], Mapping):
            reader.fault(name, "has to be a table.")
            continue
        channel = make(_Reader(f"alerts.{name}", table[name], reader.faults))
        if channel is not None:
            channels[name] = channel
    wanted = AlertPreferences(
        channels=tuple(channels), kinds=_kinds(reader), held_long_s=_held_long_s(reader)
    )
    if reader.faults:
        raise FaultyAlerts("\n".join(reader.faults))
    return AlertSettings(wanted, channels)


def _kinds(reader: _Reader) -> frozenset[Alert]:
    """Return what is chosen, with what nobody can leave out."""
    known = [kind.value for kind in Alert]
    told = reader.take("tell", list, known)
    for name in told:
        if name not in known:
            reader.fault("tell", f"“{name}” is nothing to tell. Known: {', '.join(known)}.")
    return ALWAYS | {kind for kind in Alert if kind.value in told}


def _held_long_s(reader: _Reader) -> float:
    minutes = reader.take("held_long_min", int | float, HELD_LONG_MIN)
    if not 0 < minutes <= 24 * 60:
        reader.fault("held_long_min", "has to lie between 0 and 1440 minutes.")
    return float(minutes * 60)


def _webhook(reader: _Reader) -> Webhook | None:
    reader.check_names(_WEBHOOK)
    url = reader.take("url", str)
    parts = urlsplit(url or "")
    if url and not (parts.scheme in ("http", "https") and parts.hostname):
        reader.fault("url", "has to begin with http:// or https:// and name a host.")
    secret = reader.secret("secret_file")
    return Webhook(url=url, secret=secret) if url else None


def _mail(reader: _Reader) -> Mail | None:
    reader.check_names(_MAIL)
    host, sender, to = (reader.take(*one) for one in (("host", str), ("sender", str), ("to", list)))
    security = reader.take("security", str, "starttls")
    if security not in SECURITIES:
        reader.fault("security", f"has to be one of {', '.join(SECURITIES)}.")
    port = reader.take("port", int, SECURITIES.get(security, 0))
    user = reader.take("user", str, "") or None
    password = reader.secret("password_file")
    if user and security == "none":
        reader.fault("security", "a password would cross the network open. Use starttls or tls.")
    if not (host and sender and to):
        return None
    return Mail(
        host=host, port=port, sender=sender, recipients=tuple(map(str, to)), security=security,
        user=user, password=password,
    )  # fmt: skip
