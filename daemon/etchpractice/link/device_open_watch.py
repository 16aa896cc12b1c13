"""Who opens and closes a device file: the kernel's notifications (inotify(7)).

A pseudo-terminal tells only whether somebody has its other end open at this moment; a host that
closes it and opens it again meanwhile would go unseen, and with it the reset that opening means.
"""

import ctypes
import os
import struct
from typing import Final

_CLOSED_WRITABLE: Final = 0x08
_CLOSED: Final = 0x10
_OPENED: Final = 0x20
_NON_BLOCKING: Final = os.O_NONBLOCK | os.O_CLOEXEC
_EVENT: Final = struct.Struct("iIII")
_READ_BYTES: Final = 4096

_library = ctypes.CDLL(None, use_errno=True)


class Openings:
    """Watches one path."""

    def __init__(self, path: str) -> None:
        self._descriptor = _checked(_library.inotify_init1(_NON_BLOCKING))
        mask = _CLOSED_WRITABLE | _CLOSED | _OPENED
        _checked(_library.inotify_add_watch(self._descriptor, os.fsencode(path), mask))

    def fileno(self) -> int:
        """Return the descriptor to wait on."""
        return self._descriptor

    def was_reopened(self) -> bool:
        """Return whether the path was closed and then opened since the last call."""
        is_closed = is_reopened = False
        for mask in self._masks():
            is_reopened = is_reopened or (is_closed and bool(mask & _OPENED))
            is_closed = not mask & _OPENED
        return is_reopened

    def _masks(self) -> list[int]:
        try:
            data = os.read(self._descriptor, _READ_BYTES)
        except BlockingIOError:
            return []
        masks, at = [], 0
        while at < len(data):
            _, mask, _, name_bytes = _EVENT.unpack_from(data, at)
            masks.append(mask)
            at += _EVENT.size + name_bytes
        return masks

    def close(self) -> None:
        """Stop watching."""
        os.close(self._descriptor)


def _checked(result: int) -> int:
    if result < 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
    return result
