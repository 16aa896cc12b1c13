"""The ways news leaves the box: a JSON POST, and a mail."""

import http.client
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from email.message import EmailMessage
from functools import partial
from typing import Final, Protocol

from etchweb.alerts.outbox import Notification

PATIENCE_S: Final = 5.0


class NotDelivered(OSError):
    """A letter did not arrive; the message says why, and never what the secret is."""


class Channel(Protocol):
    """One way to tell people."""

    def send(self, letter: Notification) -> None:
        """Deliver `letter` or raise NotDelivered."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Webhook:
    """Posts a JSON object; whatever 2xx says is delivered, a redirect is not followed.

    `secret` goes along as a bearer token. The letter's number is sent as well, so that a receiver
    whose answer got lost can tell a second try from a second event.
    """

    url: str
    secret: str | None = None

    def send(self, letter: Notification) -> None:
        """Deliver `letter` or raise NotDelivered."""
        from urllib.request import HTTPRedirectHandler, Request, build_opener  # noqa: PLC0415

        class NoRedirect(HTTPRedirectHandler):
            def redirect_request(self, *_: object) -> None:
                return None

        request = Request(self.url, _json(letter), _headers(letter, self.secret), method="POST")  # noqa: S310 - settings let http and https through only
        try:
            with build_opener(NoRedirect).open(request, timeout=PATIENCE_S):
                pass
        except (OSError, ValueError, http.client.HTTPException) as error:
            raise NotDelivered(f"The webhook was not delivered: {error}.") from error


@dataclass(frozen=True, slots=True, kw_only=True)
class Mail:
    """Hands a mail to a mail host; `security` is starttls, tls or none."""

    host: str
    port: int
    sender: str
    recipients: tuple[str, ...]
    security: str = "starttls"
    user: str | None = None
    password: str | None = None

    def send(self, letter: Notification) -> None:
        """Deliver `letter` or raise NotDelivered."""
        import smtplib  # noqa: PLC0415 - a box without mail need not load it
        import ssl  # noqa: PLC0415

        trust = ssl.create_default_context()
        try:
            way: Callable[..., smtplib.SMTP] = smtplib.SMTP
            if self.security == "tls":
                way = partial(smtplib.SMTP_SSL, context=trust)
            with way(self.host, self.port, timeout=PATIENCE_S) as host:
                if self.security == "starttls":
                    host.starttls(context=trust)
                if self.user is not None:
                    host.login(self.user, self.password or "")
                host.send_message(self._message(letter))
        except (OSError, ValueError) as error:  # smtplib's errors are of the first kind too
            raise NotDelivered(f"The mail was not delivered: {error}.") from error

    def _message(self, letter: Notification) -> EmailMessage:
        message = EmailMessage()
        message["Subject"] = " ".join(f"{letter.machine}: {letter.title}".split())
        message["From"] = self.sender
        message["To"] = ", ".join(self.recipients)
        message["Date"] = datetime.fromtimestamp(letter.made_at_s, UTC)
        message["Message-ID"] = f"<{letter.id}@etchwarden>"
        message.set_content(f"{letter.text}\n")
        return message


def _json(letter: Notification) -> bytes:
    at = datetime.fromtimestamp(letter.made_at_s, UTC)
    return json.dumps({
        "id": letter.id,
        "machine": letter.machine,
        "kind": letter.kind,
        "title": letter.title,
        "text": letter.text,
        "at_utc": at.isoformat(timespec="seconds"),
    }).encode()  # fmt: skip


def _headers(letter: Notification, secret: str | None) -> dict[str, str]:
    headers = {"Content-Type": "application/json", "Idempotency-Key": letter.id}
    return headers if secret is None else headers | {"Authorization": f"Bearer {secret}"}
