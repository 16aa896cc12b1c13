"""gpiozero's pins by way of lgpio, chosen on purpose and without what lgpio gets wrong."""

import importlib
import os
import re
from pathlib import Path
from typing import Any, Final

from etchdaemon.errors import BoardLost
from etchdaemon.hardware.gpio_lines import Lines

WORKING_FOLDER_NAME: Final = "LG_WD"
NOT_INSTALLED: Final = (
    "The library for the pins (lgpio) cannot be used: {error}. "
    "Install Etchwarden with its extra “board”."
)
NO_FOLDER: Final = "The library for the pins needs a folder it may write to, and {folder} is none."


def lgpio_factory(label: str, *, working_folder: Path, lines: Lines | None = None) -> Any:
    """Return a gpiozero factory for the chip of that label; raise BoardLost.

    lgpio makes a pipe in its working directory when it is imported, and fails where it cannot;
    gpiozero would then quietly take another library. So the folder is given before the import,
    and no other library is tried.
    """
    if not os.access(working_folder, os.W_OK | os.X_OK):
        raise BoardLost(NO_FOLDER.format(folder=working_folder))
    os.environ.setdefault(WORKING_FOLDER_NAME, str(working_folder))
    chip = (lines or Lines()).chip_called(label)
    number = re.sub(r"\D", "", chip.path.name)
    try:
        lgpio = importlib.import_module("lgpio")
        pins = importlib.import_module("gpiozero.pins.lgpio")
        factory = pins.LGPIOFactory(chip=int(number))
    except Exception as error:
        raise BoardLost(NOT_INSTALLED.format(error=error)) from error
    factory.pin_class = _pin_class(pins, lgpio)
    return factory


def is_edge_thread_alive() -> bool:
    """Return whether lgpio's one thread for edges still lives; an exception in it ends it."""
    thread = getattr(importlib.import_module("lgpio"), "_notify_thread", None)
    return thread is None or bool(thread.is_alive())


def _pin_class(pins: Any, lgpio: Any) -> Any:
    class PinWithoutGlitch(pins.LGPIOPin):  # type: ignore[misc]
        """Claims an output at its level; the library claims it low and sets it afterwards."""

        def output_with_state(self, state: bool) -> None:
            lgpio.gpio_claim_output(self.factory._handle, self._number, int(state))

    return PinWithoutGlitch
