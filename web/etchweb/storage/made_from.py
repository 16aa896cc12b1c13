"""What a picture's job was made from, so that the same can be etched again years later.

A folder each, named by the SHA-256 of the job's G-code: the photo and what was decided about it.
Of a job of several tiles it holds such a folder for each picture, and where each was laid.
Where the draft still lies beside it the files are the same ones, and take no room of their own.
"""

import re
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final

from etchweb.previews.store import SCRATCH

MADE_FROM_FOLDER: Final = "made-from"  # inside the page's own folder
NAME: Final = re.compile(r"[0-9a-f]{64}")


def keep_made_from(
    page_folder: Path,
    gcode_sha256: str,
    files: Iterable[Path],
    folders: Mapping[str, Iterable[Path]] = MappingProxyType({}),
) -> None:
    """Keep `files`, which nobody writes to any more, under the job's name; raise OSError.

    `folders` are files that are kept in a folder of their own each, by its name.
    """
    home = page_folder / MADE_FROM_FOLDER
    home.mkdir(parents=True, exist_ok=True, mode=0o700)
    with tempfile.TemporaryDirectory(dir=home, prefix=SCRATCH) as scratch:
        whole = Path(scratch) / gcode_sha256
        whole.mkdir(mode=0o700)
        for file in files:
            _same(file, whole / file.name)
        for name, inside in folders.items():
            (whole / name).mkdir(mode=0o700)
            for file in inside:
                _same(file, whole / name / file.name)
        shutil.rmtree(home / gcode_sha256, ignore_errors=True)
        whole.replace(home / gcode_sha256)


def made_from(page_folder: Path, gcode_sha256: str) -> Path | None:
    """Return the folder of what that job was made from; None where it is not kept."""
    folder = page_folder / MADE_FROM_FOLDER / gcode_sha256
    return folder if NAME.fullmatch(gcode_sha256) and folder.is_dir() else None


def _same(file: Path, target: Path) -> None:
    try:
        target.hardlink_to(file)
    except OSError:  # a file system without, or another one
        shutil.copy2(file, target)
