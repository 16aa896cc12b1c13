"""A broker of a test's own: mosquitto on a loopback port, nothing kept."""

import shutil
import socket
import subprocess
import time
from contextlib import contextmanager
from pathlib import Path

from support.harnesses.page_bench import require, require_module

PATIENCE_S = 60.0
_PROGRAM = "/usr/sbin/mosquitto"  # Debian keeps it out of an ordinary user's path


def free_port():
    with socket.socket() as knock:
        knock.bind(("127.0.0.1", 0))
        return knock.getsockname()[1]


class Broker:
    """Starts, ends and starts again at the same port; a password, if any, is "secret"."""

    def __init__(self, folder, *, user=None, certificate=None):
        require(shutil.which("mosquitto") or _PROGRAM)
        self.port = free_port()
        self._config = folder / "mosquitto.conf"
        lines = [f"listener {self.port} 127.0.0.1", "persistence false"]
        self._log = folder / "mosquitto.log"
        lines += [f"log_dest file {self._log}", "log_type subscribe", "user root"]
        if certificate is not None:  # a folder with shown.pem and shown.key
            lines += [f"certfile {certificate}/shown.pem", f"keyfile {certificate}/shown.key"]
        if user is None:
            lines.append("allow_anonymous true")
        else:
            passwords = folder / "passwords"
            subprocess.run(
                ["mosquitto_passwd", "-b", "-c", passwords, user, "secret"],
                check=True, capture_output=True,
            )  # fmt: skip
            lines += ["allow_anonymous false", f"password_file {passwords}"]
        self._config.write_text("\n".join(lines) + "\n")
        self._process = None

    def start(self):
        program = shutil.which("mosquitto") or _PROGRAM
        self._process = subprocess.Popen(
            [program, "-c", self._config], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until(self._is_listening)

    def end(self):
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def subscriptions(self):
        """Return the broker's own list of who subscribed to what."""
        return self._log.read_text()

    def signal(self, number):
        self._process.send_signal(number)

    def _is_listening(self):
        assert self._process.poll() is None
        with socket.socket() as knock:
            return knock.connect_ex(("127.0.0.1", self.port)) == 0


@contextmanager
def broker_in(folder, **more):
    require_module("paho.mqtt.client")
    broker = Broker(Path(folder), **more)
    broker.start()
    try:
        yield broker
    finally:
        broker.end()


def until(holds):
    """Wait until `holds()` and return what it returned."""
    deadline_s = time.monotonic() + PATIENCE_S
    while not (found := holds()):
        assert time.monotonic() < deadline_s, "it did not happen in time"
        time.sleep(0.02)
    return found
