"""What a person should change on the board themselves; told, never done."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

CONFIG_FILES: Final = ("boot/firmware/config.txt", "boot/config.txt")
COMMAND_LINE_FILES: Final = ("boot/firmware/cmdline.txt", "boot/cmdline.txt")
STRICT_PINS: Final = "dtparam=strict_gpiod"
MEMORY_CONTROLLER: Final = "cgroup_enable=memory"
FONTS: Final = "usr/share/fonts", "usr/local/share/fonts"


def boot_advice(root: Path = Path("/")) -> Iterator[str]:
    """Yield a sentence for each line that the boot files of this board lack."""
    config, text = _first(root, CONFIG_FILES)
    if config and STRICT_PINS not in _lines(text):
        yield (
            f"add the line “{STRICT_PINS}” to {config} and restart: without it this board keeps a"
            " relay on when the program that drove it has died."
        )
    command_line, text = _first(root, COMMAND_LINE_FILES)
    if command_line and MEMORY_CONTROLLER not in text.split():
        yield (
            f"add “{MEMORY_CONTROLLER}” at the end of the line in {command_line} and restart:"
            " without it the page's memory is not limited."
        )


def font_advice(root: Path = Path("/")) -> Iterator[str]:
    """Yield a sentence where this board has no font at all."""
    if not any(path.is_file() for folder in FONTS for path in (root / folder).rglob("*.[ot]t[fc]")):
        yield "sudo apt install fonts-dejavu-core, for lettering on tiles."


def _first(root: Path, names: Iterable[str]) -> tuple[str, str]:
    """Return the first of the files that can be read, by its name on the board, and its text."""
    for name in names:
        try:
            return f"/{name}", (root / name).read_text(errors="replace")
        except OSError:
            continue
    return "", ""


def _lines(text: str) -> set[str]:
    return {line.split("#")[0].strip() for line in text.splitlines()}
