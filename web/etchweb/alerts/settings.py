"""The table `alerts` of the page's settings: who is told what."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self
from urllib.parse import urlsplit

from etchweb.alerts.channels import Channel, Mail, Webhook
from etchweb.alerts.outbox import AlertPreferences
from etchwire.alert_policy import ALWAYS, Alert
from etchwire.configuration.faults import Reason
from etchwire.configuration.tables import Table

HELD_LONG_MIN: Final = 10.0
SECURITIES: Final = {"starttls": 587, "tls": 465, "none": 25}


@dataclass(frozen=True, slots=True)
class AlertSettings:
    """What is told, and by which ways."""

    wanted: AlertPreferences
    channels: Mapping[str, Channel]

    @classmethod
    def read(cls, table: Table, folder: Path) -> Self:
        """Read the table of a file in `folder`; what is wrong with it becomes its faults."""
        makers = {"webhook": _webhook, "mail": _mail}
        channels = {name: makers[name](part, folder) for name, part in table.tables(makers).items()}
        minutes = table.number("held_long_min", HELD_LONG_MIN, least=0.1, most=24 * 60)
        wanted = AlertPreferences(
            channels=tuple(channels), kinds=_kinds(table), held_long_s=minutes * 60
        )
        table.done()
        return cls(wanted, channels)


def _kinds(table: Table) -> frozenset[Alert]:
    """Return what is chosen, with what nobody can leave out; all of them without a choice."""
    told = table.texts("tell", among=tuple(Alert))
    if "tell" not in table:
        return frozenset(Alert)
    return ALWAYS | {kind for kind in Alert if kind.value in told}


def _webhook(table: Table, folder: Path) -> Channel:
    table.require("url")
    url = table.text("url")
    parts = urlsplit(url)
    if url and not (parts.scheme in ("http", "https") and parts.hostname):
        said = "has to begin with http:// or https:// and name a host."
        table.fault(Reason.OUT_OF_RANGE, "url", said)
    webhook = Webhook(url=url, secret=table.secret("secret_file", folder))
    table.done()
    return webhook


def _mail(table: Table, folder: Path) -> Channel:
    table.require("host", "sender", "to")
    security = table.text("security", "starttls", among=SECURITIES)
    mail = Mail(
        host=table.text("host"),
        port=table.port("port", SECURITIES[security]),
        sender=table.text("sender"),
        recipients=table.texts("to"),
        security=security,
        user=table.text("user") or None,
        password=table.secret("password_file", folder),
    )
    if mail.user and security == "none":
        said = "the password would be sent unencrypted. Use starttls or tls."
        table.fault(Reason.OUT_OF_RANGE, "security", said)
    table.done()
    return mail
