"""A connection to the shop's broker, in our words: the one place that knows the MQTT library."""

import logging
import ssl
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from importlib import import_module
from typing import Any, Final

from etchweb.fleet.errors import FleetFault
from etchweb.fleet.settings import FleetSettings

KEEPALIVE_S: Final = 10  # a box that froze is said to be lost after one and a half of it
RETRY_S: Final = (1, 30)
GOODBYE_S: Final = 2.0
_MISSING: Final = "The library for MQTT is not installed: install etchwarden[fleet]."

_log = logging.getLogger(__name__)


class Broker:
    """One client of the broker, which connects again for ever; any thread may ask.

    `trouble` is a sentence while there is no connection. With a `will` (topic and word) the broker
    says that word, retained, when the client is gone without a goodbye.
    """

    def __init__(
        self,
        settings: FleetSettings,
        name: str,
        *,
        will: tuple[str, str] | None = None,
        when_connected: Callable[[], None] = lambda: None,
        when_told: Callable[[str, bytes], None] = lambda _topic, _word: None,
    ) -> None:
        self._settings = settings
        self._when_connected = when_connected
        self._when_told = when_told
        self.trouble: str | None = f"The broker at {settings.broker} has not answered yet."
        self._answers_left = 0
        self._subscribed = threading.Event()
        self._client = self._made(name, will)

    def start(self) -> None:
        """Connect in the background, and again whenever the connection is lost."""
        self._client.connect_async(
            self._settings.broker, self._settings.port, keepalive=KEEPALIVE_S
        )
        self._client.loop_start()

    def close(self, last_word: tuple[str, str] | None = None) -> None:
        """Say `last_word` (topic and word) if possible, and leave: no will is carried out."""
        if last_word is not None and self.trouble is None:
            with suppress(RuntimeError, ValueError):  # the connection was lost this moment
                self.publish(*last_word).wait_for_publish(GOODBYE_S)
        self._client.on_disconnect = None
        self.trouble = "The connection to the broker is closed."
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, word: str) -> Any:
        """Send a retained word; what is returned tells by `is_published` when the broker has it."""
        return self._client.publish(topic, word, qos=1, retain=True)

    def read(self, topics: str) -> None:
        """Ask for `topics`; `has_read` is set once the broker has told all that it retains."""
        self._subscribed.clear()
        self._answers_left = 2
        self._client.subscribe(topics, qos=0)
        self._client.subscribe(topics, qos=0)  # answered after what the first one brings

    def has_read(self, timeout_s: float) -> bool:
        """Wait until the broker has answered `read`."""
        return self._subscribed.wait(timeout_s)

    def _made(self, name: str, will: tuple[str, str] | None) -> Any:
        mqtt = _library()
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id=name)
        client.reconnect_delay_set(*RETRY_S)
        if self._settings.user is not None:
            client.username_pw_set(self._settings.user, self._settings.password)
        if self._settings.ca_file is not None:
            _encrypt(client, self._settings.ca_file)
        if will is not None:
            client.will_set(*will, qos=1, retain=True)
        client.on_connect = self._note_answer
        client.on_connect_fail = lambda _client, _data: self._note(
            _no_connection(self._settings, sys.exc_info()[1])  # the library is handling it
        )
        client.on_disconnect = self._note_disconnected
        client.on_message = lambda _client, _data, said: self._when_told(said.topic, said.payload)
        client.on_subscribe = self._note_subscribed
        return client

    def _note_answer(self, _client: Any, _data: Any, _flags: Any, reason: Any, _more: Any) -> None:
        if reason.is_failure:
            self._note(
                f"The broker at {self._settings.broker} refuses this name and password"
                f" ({str(reason).lower()})."
            )
            return
        if self.trouble is not None:
            _log.info("connected to the broker at %s", self._settings.broker)
        self.trouble = None
        self._when_connected()

    def _note_subscribed(self, *_: Any) -> None:
        self._answers_left -= 1
        if self._answers_left <= 0:
            self._subscribed.set()

    def _note_disconnected(self, *_: Any) -> None:
        if self.trouble is None:
            self._note(f"The connection to the broker at {self._settings.broker} is lost.")

    def _note(self, trouble: str) -> None:
        if trouble != self.trouble:
            _log.warning(trouble)
        self.trouble = trouble


def _library() -> Any:
    try:
        return import_module("paho.mqtt.client")
    except ImportError as error:
        raise FleetFault(_MISSING) from error


class _EncryptedSocket(ssl.SSLSocket):
    """Closes itself when no connection came of it: the library then forgets it."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def _encrypt(client: Any, ca_file: str) -> None:
    try:
        context = ssl.create_default_context(cafile=ca_file)
    except OSError as error:
        raise FleetFault(f"The certificate file {ca_file} cannot be used: {error}.") from error
    context.sslsocket_class = _EncryptedSocket
    client.tls_set_context(context)


def _no_connection(settings: FleetSettings, error: BaseException | None) -> str:
    broker = f"The broker at {settings.broker}"
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"{broker} shows a certificate that does not fit ca_file ({error.verify_message})."
    if isinstance(error, (ssl.SSLError, ConnectionResetError)) and settings.ca_file is not None:
        return f"{broker} does not speak TLS at port {settings.port}, which ca_file asks for."
    return f"{broker} does not answer; it is tried again."
