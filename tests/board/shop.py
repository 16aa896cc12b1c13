"""A shop's board: a user who may use sudo, the sources, README's commands typed at a terminal."""

import re
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import pexpect

from board.container import Container
from board.debian import bring_certificates
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from support.harnesses.install_bench import ROOT

USER: Final = "shop"
CHECKOUT: Final = f"/home/{USER}/etchwarden"
PAGE_URL: Final = "http://127.0.0.1:8080"
DAEMON: Final = "etchwarden-daemon@left.service"
PAGE: Final = "etchwarden-web.service"
UNITS: Final = "/etc/systemd/system"
SPEEDUP: Final = 5
PORT: Final = "/dev/etchwarden-practice"
# There is no port in a container, so a practice machine plays it, beside the shipped units.
PRACTICE_MACHINE: Final = f"""\
[Unit]
ConditionPathExists=/opt/etchwarden/current/bin/etchwarden
[Service]
User=etchwarden
RuntimeDirectory=practice
ExecStart=/opt/etchwarden/current/bin/etchwarden machine --folder /run/practice --speedup {SPEEDUP}
ExecStartPost=/bin/sh -c 'until test -S /run/practice/control.sock; do sleep 0.1; done'
ExecStartPost=+/bin/sh -c 'chgrp -L dialout /run/practice/port && chmod 660 /run/practice/port'
ExecStartPost=+/bin/ln -sf /run/practice/port {PORT}
"""
PRACTICE_PORT: Final = f"""\
[Unit]
Wants=practice-machine.service
After=practice-machine.service
[Service]
ExecStart=
ExecStart=/opt/etchwarden/current/bin/etchwarden daemon --port {PORT} \
    --practice /run/practice --socket %t/etchwarden/%i/api.sock --state %S/etchwarden/%i
"""
# Without a number every call that the shipped filter refuses ends the process, but for the one that
# is asked in vain by intention, whether the clock is synchronised: ProtectClock= refuses that.
DEADLY_FILTER: Final = """\
[Service]
SystemCallErrorNumber=
SystemCallFilter=adjtimex clock_adjtime
"""
QUESTION: Final = r"[^\r\n]+(?:: |\[y/N\] )\Z"
END: Final = 1  # the place of the end among what is waited for
MOST_QUESTIONS: Final = 60
ANSWERS: Final = {"Go on?": "y", "serial port": PORT}


def readme_commands() -> list[str]:
    """Return the commands that README gives for a board, in their order."""
    text = (ROOT / "README.md").read_text()
    section = text.partition("\n## Install on a board\n")[2]
    return section.split("```")[1].strip().splitlines()


def furnish(root: Path) -> None:
    """Make a bare Debian's root folder a shop's: a user, the sources, a port to practise on."""
    bring_certificates(root)
    _in(root, "useradd", "--create-home", "--shell", "/bin/bash", USER)
    sudoers = root / "etc/sudoers.d/shop"
    sudoers.write_text(f"{USER} ALL=(ALL) NOPASSWD: ALL\n")
    sudoers.chmod(0o440)
    (root / "var/log/journal").mkdir(exist_ok=True)  # so that it outlasts a cut
    (root / "etc/hosts").write_text("127.0.0.1 localhost\n127.0.1.1 board\n")
    (root / "etc/hostname").write_text("board\n")
    subprocess.run(["git", "clone", "--quiet", ROOT, root / CHECKOUT.lstrip("/")], check=True)
    _in(root, "chown", "-R", f"{USER}:", CHECKOUT)
    units = root / UNITS.lstrip("/")
    (units / "practice-machine.service").write_text(PRACTICE_MACHINE)
    drop_in(root, DAEMON, "practice", PRACTICE_PORT)


def drop_in(root: Path, unit: str, name: str, text: str) -> None:
    """Lay a drop-in beside a unit."""
    folder = root / UNITS.lstrip("/") / f"{unit}.d"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.conf").write_text(text)


def type_command(board: Container, command: str, answers: Mapping[str, str] = ANSWERS) -> str:
    """Type a command at a terminal, answer what it asks, and return what was said.

    `answers`: what to type, by words of the question; Enter alone at any other.
    """
    terminal = board.terminal(command, USER, CHECKOUT)
    said = ""
    for _ in range(MOST_QUESTIONS):
        found = terminal.expect([QUESTION, pexpect.EOF])
        said += terminal.before
        if found == END:
            break
        said += terminal.after
        asked = terminal.after
        terminal.sendline(next((typed for words, typed in answers.items() if words in asked), ""))
    terminal.close()
    assert terminal.exitstatus == 0, f"{command} ended with {terminal.exitstatus}:\n{said}"
    return said


def pairing_code(board: Container) -> str:
    """Ask at the board for six digits, as a person does."""
    said = type_command(board, readme_commands()[-1])
    found = re.search(r"Type\s+(\d{3}) (\d{3})", said)
    assert found, said
    return found[1] + found[2]


def session_on(board: Container, household: ProcessGroup, folder: Path) -> Session:
    """Return the hands at the practice machine and the daemon's socket, seen from outside."""
    for name, inside in (
        ("machine", "/run/practice"),
        ("daemon.sock", "/run/etchwarden/left/api.sock"),
    ):
        link = folder / name
        link.unlink(missing_ok=True)
        link.symlink_to(board.path(inside))
    return Session(household, folder)


def _in(root: Path, *command: str) -> None:
    subprocess.run(["chroot", root, *command], check=True, capture_output=True)
