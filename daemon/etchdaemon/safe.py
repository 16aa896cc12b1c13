"""Drives every output of a box off: a program of its own, for after any death of the daemon.

It needs the pin map and the kernel, no library and no daemon, and reads as little as it can: of
a configuration only the pins of the outputs, so that a box whose configuration is refused, or
whose daemon never came up, is still made safe.
"""

import json
import sys
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

from etchdaemon.configuration.pin_map import Pin, PinMap
from etchdaemon.errors import BoardLost
from etchdaemon.hardware.gpio_lines import Chip, Lines

_LINES: Final = range(2**32)  # how the kernel counts the lines of a chip (linux/gpio.h)

USAGE: Final = """\
usage: etchwarden-safe FILE...      drive every output of these pin maps off
       etchwarden-safe --chips      list the GPIO chips of this computer

A FILE is the pin map that the daemon writes when it starts (pins.json) or a configuration
(.toml). Give both: the map knows the pins that were in use, the configuration is always there.
"""


def main(arguments: Sequence[str] | None = None, *, lines: Lines | None = None) -> int:
    """Run the program; 0 only if every output of every readable map was driven off."""
    files = list(sys.argv[1:] if arguments is None else arguments)
    lines = lines or Lines()
    if files == ["--chips"]:
        return _list_chips(lines)
    if not files or files[0].startswith("-"):
        _say(USAGE)
        return 0 if files in (["--help"], ["-h"]) else 2
    maps = [pins for pins in map(_read, map(Path, files)) if pins is not None]
    if not maps:
        _say("No pin map could be read; no output was driven.")
        return 1
    results = [_drive_off(lines, pins) for pins in maps]  # all of them, whatever the first one says
    return 0 if all(results) else 1


def _read(path: Path) -> PinMap | None:
    try:
        text = path.read_text(encoding="utf-8-sig")
        if path.suffix == ".toml":
            return _outputs_of(tomllib.loads(text))
        return PinMap.of_outputs(json.loads(text))
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        _say(f"{path}: not read ({error})")
        return None


def _outputs_of(table: Mapping[str, object]) -> PinMap:
    """Return the outputs of a configuration, leaving out whatever is not fit in it."""
    board = table.get("board")
    label = board.get("chip", "") if isinstance(board, dict) else ""
    outputs = table.get("outputs")
    pins = dict(_fit_pins(outputs if isinstance(outputs, dict) else {}))
    return PinMap(chip_label=str(label), inputs={}, outputs=pins)


def _fit_pins(outputs: Mapping[str, object]) -> Iterator[tuple[str, Pin]]:
    for name, entry in outputs.items():
        if not isinstance(entry, dict):
            continue
        number = entry.get("pin")
        if isinstance(number, int) and number in _LINES:
            yield name, Pin(number, is_high_on=entry.get("active", "high") != "low")


def _drive_off(lines: Lines, pins: PinMap) -> bool:
    if not pins.outputs:
        _say("The pin map has no outputs.")
        return True
    try:
        chip = lines.chip_called(pins.chip_label)
    except BoardLost as lost:
        _say(str(lost))
        return False
    together = list(pins.outputs.values())
    try:
        lines.drive_off(chip, together)
    except OSError:  # one line in use, or not there, must not keep the others on
        results = [_drive_one(lines, chip, name, pin) for name, pin in pins.outputs.items()]
        return all(results)
    return True


def _drive_one(lines: Lines, chip: Chip, name: str, pin: Pin) -> bool:
    try:
        lines.drive_off(chip, [pin])
    except OSError as error:
        _say(f"{name} (pin {pin.number}) could not be driven off: {error.strerror}")
        return False
    return True


def _list_chips(lines: Lines) -> int:
    found = list(lines.chips())
    for chip in found:
        _say(f"{chip.path}  {chip.label}")
    if not found:
        _say("No GPIO chip of this computer can be opened.")
    return 0 if found else 1


def _say(text: str) -> None:
    sys.stdout.write(text.rstrip("\n") + "\n")


if __name__ == "__main__":
    sys.exit(main())
