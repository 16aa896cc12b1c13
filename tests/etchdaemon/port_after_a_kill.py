"""A program: opens the practice machine's port, is killed over it, and opens it again.

    python port_after_a_kill.py [UID]

With a UID it gives up being root first, after all is loaded: who runs the tests may keep the
libraries where nobody else can read them.
"""

import os
import signal
import sys
import tempfile
from pathlib import Path

from etchdaemon.hardware.serial_port import SerialPort
from etchpractice.link.pty_port import PtyPort


def main():
    if len(sys.argv) > 1:
        os.setgroups([])
        os.setgid(int(sys.argv[1]))
        os.setuid(int(sys.argv[1]))
    with tempfile.TemporaryDirectory() as folder:
        link = Path(folder) / "port"
        port = PtyPort(link)
        _open_and_be_killed(link)
        SerialPort(str(link)).close()
        port.unplug()
    sys.stdout.write(f"opened again as {os.geteuid()}\n")


def _open_and_be_killed(link):
    hears, tells = os.pipe()
    child = os.fork()
    if child == 0:
        SerialPort(str(link))
        os.write(tells, b"open")
        signal.pause()
    os.close(tells)
    assert os.read(hears, 4) == b"open"
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


if __name__ == "__main__":
    main()
