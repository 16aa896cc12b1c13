"""Looking at the computer: files under /sys and /proc, and programs that may not be there."""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Final

from etchdaemon.hardware.gpio_lines import Lines
from etchdaemon.hardware.self_check import PARAMETERS, warnings_of_persistence
from etchwarden.installation.paths import Places
from etchwarden.installation.releases import Releases
from etchwarden.selfcheck.facts import BoardFacts
from etchweb.server.host_names import own_addresses

PATIENCE_S: Final = 5.0
# Bits of `vcgencmd get_throttled`: too little voltage now, and since the start.
UNDERVOLTED_NOW: Final = 1 << 0
UNDERVOLTED_SINCE: Final = 1 << 16


def look_at_board(places: Places) -> BoardFacts:
    """Gather what can be found out; what cannot is None."""
    releases = Releases(places)
    space = _space(places.records if places.records.is_dir() else places.root)
    now, since = _undervolted(places.root)
    return BoardFacts(
        version=version("etchwarden"),
        python=sys.version_info[:2],
        current=releases.current(),
        has_previous=releases.previous() is not None,
        is_cut_short=places.unfinished.exists(),
        year=datetime.now().astimezone().year,
        is_clock_synchronised=_synchronised(),
        free_bytes=None if space is None else space.f_bavail * space.f_frsize,
        size_bytes=None if space is None else space.f_blocks * space.f_frsize,
        is_read_only=space is not None and bool(space.f_flag & os.ST_RDONLY),
        card_worn_tenths=_worn(places.root),
        file_system_errors=_sum(places.root.glob("sys/fs/ext4/*/errors_count")),
        is_undervolted=now,
        was_undervolted=since,
        tells_of_outputs=any((places.root / "sys").glob(PARAMETERS)),
        kept_outputs=tuple(warnings_of_persistence(places.root / "sys")),
        chips=tuple(chip.label for chip in Lines().chips()),
        has_pin_library=_has_pin_library(),
        limits_memory=_limits_memory(places.root),
        host_name=socket.gethostname(),
        addresses=own_addresses(),
        announces_name=(places.root / "run/avahi-daemon/pid").exists(),
    )


def _space(folder: Path) -> os.statvfs_result | None:
    try:
        return os.statvfs(folder)
    except OSError:
        return None


def _synchronised() -> bool | None:
    said = _said("timedatectl", "show", "--property=NTPSynchronized", "--value")
    return {"yes": True, "no": False}.get(said)


def _worn(root: Path) -> int | None:
    """Return the card's own estimate in tenths, as two figures such as “0x01 0x02”."""
    for path in sorted(root.glob("sys/block/mmcblk*/device/life_time")):
        try:
            return max(int(word, 16) for word in path.read_text().split())
        except (OSError, ValueError):
            continue
    return None


def _sum(paths: Iterable[Path]) -> int | None:
    numbers = [number for path in paths if (number := _number(path)) is not None]
    return sum(numbers) if numbers else None


def _undervolted(root: Path) -> tuple[bool | None, bool | None]:
    said = _said("vcgencmd", "get_throttled")  # “throttled=0x50000”
    if said.startswith("throttled=0x"):
        bits = int(said.removeprefix("throttled="), 16)
        return bool(bits & UNDERVOLTED_NOW), bool(bits & UNDERVOLTED_SINCE)
    for alarm in sorted(root.glob("sys/class/hwmon/hwmon*/in0_lcrit_alarm")):
        number = _number(alarm)
        if number is not None:
            return bool(number), None
    return None, None


def _number(path: Path) -> int | None:
    try:
        return int(path.read_text())
    except (OSError, ValueError):
        return None


def _has_pin_library() -> bool:
    """Load it in a process of its own: it leaves a pipe in its working folder."""
    code = "import lgpio; lgpio.gpiochip_open"
    with tempfile.TemporaryDirectory() as folder:
        try:
            done = subprocess.run(
                [sys.executable, "-c", code],
                env=os.environ | {"LG_WD": folder},
                capture_output=True,
                timeout=PATIENCE_S,
                check=False,
            )
        except (OSError, subprocess.TimeoutExpired):
            return False
    return done.returncode == 0


def _limits_memory(root: Path) -> bool | None:
    try:
        return "memory" in (root / "sys/fs/cgroup/cgroup.controllers").read_text().split()
    except OSError:
        return None


def _said(program: str, *arguments: str) -> str:
    if shutil.which(program) is None:
        return ""
    try:
        done = subprocess.run(
            [program, *arguments], capture_output=True, text=True, timeout=PATIENCE_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout.strip() if done.returncode == 0 else ""
