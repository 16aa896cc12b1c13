"""GPIO lines by the kernel's character device alone: find a chip by its label, drive it safe.

The numbers and layouts are those of linux/gpio.h (version 2 of the interface, since Linux 5.10);
they were printed from that header by a C program, and the sizes are checked in the tests.
"""

import fcntl
import os
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etchdaemon.configuration.pin_map import Pin
from etchdaemon.errors import BoardLost

DEVICES: Final = Path("/dev")
GET_CHIPINFO: Final = 0x8044B401
GET_LINE: Final = 0xC250B407
FLAG_OUTPUT: Final = 1 << 3
ATTRIBUTE_OUTPUT_VALUES: Final = 2
CONSUMER: Final = b"etchwarden-safe"
_CHIP_INFO: Final = struct.Struct("=32s32sI")
# Attributes: id, padding, value, mask; ten of them. Then the request around them.
_ATTRIBUTE: Final = struct.Struct("=IIQQ")
_CONFIG: Final = struct.Struct("=QI20s240s")
_REQUEST: Final = struct.Struct("=64I32s272sII20si")

Ioctl = Callable[[int, int, bytearray], int]


@dataclass(frozen=True, slots=True)
class Chip:
    """A GPIO chip of this computer."""

    path: Path
    label: str


@dataclass(frozen=True, slots=True)
class Lines:
    """The GPIO lines of this computer; a test gives it another folder and another kernel."""

    devices: Path = DEVICES
    ioctl: Ioctl = fcntl.ioctl

    def chips(self) -> Iterator[Chip]:
        """Yield the GPIO chips there are, by number; those that cannot be asked are left out."""
        paths = self.devices.glob("gpiochip*")
        for path in sorted(paths, key=lambda path: (len(path.name), path.name)):
            info = bytearray(_CHIP_INFO.size)
            with suppress(OSError), _opened(path) as descriptor:
                self.ioctl(descriptor, GET_CHIPINFO, info)
                _, label, _ = _CHIP_INFO.unpack(info)
                yield Chip(path, label.rstrip(b"\0").decode("ascii", "replace"))

    def chip_called(self, label: str) -> Chip:
        """Return the chip of that label; raise BoardLost naming those that are there.

        Chips are renumbered between kernels (the header's pins of one board moved from chip 4
        to chip 0), so a number says nothing; the label is the driver's own.
        """
        found = list(self.chips())
        for chip in found:
            if chip.label == label:
                return chip
        names = ", ".join(f"“{chip.label}”" for chip in found) or "none that can be opened"
        raise BoardLost(f"There is no GPIO chip “{label}” here; there is {names}.")

    def drive_off(self, chip: Chip, pins: list[Pin]) -> None:
        """Drive every one of `pins` to its off level, in one step; raise OSError.

        The lines are let go of again. What a line does then is the kernel's affair (a board
        that keeps driving keeps this level; one that lets go leaves it to the resistor), and
        both are off.
        """
        with _opened(chip.path) as descriptor:
            request = bytearray(line_request(pins))
            self.ioctl(descriptor, GET_LINE, request)
            os.close(_REQUEST.unpack(request)[-1])


def line_request(pins: list[Pin]) -> bytes:
    """Return the kernel's request for `pins` as outputs at their off level."""
    off = sum(1 << place for place, pin in enumerate(pins) if not pin.is_high_on)
    attribute = _ATTRIBUTE.pack(ATTRIBUTE_OUTPUT_VALUES, 0, off, (1 << len(pins)) - 1)
    config = _CONFIG.pack(FLAG_OUTPUT, 1, b"", attribute)
    numbers = [pin.number for pin in pins] + [0] * (64 - len(pins))
    return _REQUEST.pack(*numbers, CONSUMER, config, len(pins), 0, b"", 0)


@contextmanager
def _opened(path: Path) -> Iterator[int]:
    descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC)
    try:
        yield descriptor
    finally:
        os.close(descriptor)
