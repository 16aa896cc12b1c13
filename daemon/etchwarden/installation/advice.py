"""What a person should change in the boot configuration; told, never done."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

CONFIG_FILES: Final = ("boot/firmware/config.txt", "boot/config.txt")
COMMAND_LINE_FILES: Final = ("boot/firmware/cmdline.txt", "boot/cmdline.txt")
STRICT_PINS: Final = "dtparam=strict_gpiod"
MEMORY_CONTROLLER: Final = "cgroup_enable=memory"


def boot_advice(root: Path = Path("/")) -> Iterator[str]:
    """Yield a sentence for each line that the boot files of this board lack."""
    config = _first(root, CONFIG_FILES)
    if config is not None and STRICT_PINS not in _lines(config):
        yield (
            f"Add the line “{STRICT_PINS}” to /{config.relative_to(root)}: without it this board"
            " keeps a relay on when the program that drove it has died."
        )
    command_line = _first(root, COMMAND_LINE_FILES)
    if command_line is not None and MEMORY_CONTROLLER not in command_line.read_text().split():
        yield (
            f"Add “{MEMORY_CONTROLLER}” at the end of the line in"
            f" /{command_line.relative_to(root)}: without it the page's memory is not limited."
        )


def _first(root: Path, names: Iterable[str]) -> Path | None:
    return next((root / name for name in names if (root / name).is_file()), None)


def _lines(path: Path) -> set[str]:
    return {line.split("#")[0].strip() for line in path.read_text(errors="replace").splitlines()}
