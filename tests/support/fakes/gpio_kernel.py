"""A kernel's GPIO chips, that only take notes of what they are asked for."""

import os
import struct
from pathlib import Path

from etchdaemon.hardware import gpio_lines

# Sizes and offsets of linux/gpio.h, as a C program printed them.
CHIP_INFO_BYTES = 68
LINE_REQUEST_BYTES = 592
CONFIG_AT = 288
NUM_LINES_AT = 560
FD_AT = 588


class Kernel:
    """Answers the two calls as linux/gpio.h lays them out, and keeps what it was asked for."""

    def __init__(self, labels, *, busy=()):
        self.labels = labels
        self.busy = busy
        self.driven = {}

    def ioctl(self, descriptor, number, data):
        name = Path(f"/proc/self/fd/{descriptor}").readlink().name
        if number == gpio_lines.GET_CHIPINFO:
            assert len(data) == CHIP_INFO_BYTES
            data[32 : 32 + len(self.labels[name])] = self.labels[name].encode()
            return 0
        assert number == gpio_lines.GET_LINE
        assert len(data) == LINE_REQUEST_BYTES
        (count,) = struct.unpack_from("=I", data, NUM_LINES_AT)
        numbers = struct.unpack_from(f"={count}I", data, 0)
        if set(numbers) & set(self.busy):
            raise OSError(16, "Device or resource busy")
        flags, attributes = struct.unpack_from("=QI", data, CONFIG_AT)
        kind, _, values, mask = struct.unpack_from("=IIQQ", data, CONFIG_AT + 32)
        assert (flags, attributes, kind) == (1 << 3, 1, 2)
        assert mask == (1 << count) - 1
        self.driven |= {line: bool(values >> place & 1) for place, line in enumerate(numbers)}
        struct.pack_into("=i", data, FD_AT, os.open(os.devnull, os.O_RDONLY))
        return 0
