"""Pictures of jobs on disk: up to four for each, named by the SHA-256 of its G-code."""

import re
import tempfile
from contextlib import suppress
from io import BytesIO
from pathlib import Path
from typing import Final

from etchwire.storing import write_whole

# Scaled down here and not in the browser, whose quick way turns fine dots into moiré. A dot
# pattern hardly compresses: at this width and quality the first view of a page stays small.
SMALL_WIDTH_PX: Final = 480
SMALL_HEIGHT_PX: Final = 1440  # of many tiles one above the other
_SMALL_QUALITY: Final = 35
THUMB_PX: Final = 132  # the longer side; half as much again as a list shows
THUMB_QUALITY: Final = 45

PICTURES_FOLDER: Final = "pictures"  # inside the page's own folder
SCRATCH: Final = ".made-"  # so begins a folder in which a picture is being made
NAME: Final = re.compile(r"([0-9a-f]{64})(\.png|-small\.jpg|-thumb\.jpg|-path\.png)")


def whole_name(gcode_sha256: str) -> str:
    """Return the file name of a job's picture."""
    return f"{gcode_sha256}.png"


def small_name(gcode_sha256: str) -> str:
    """Return the file name of the same, scaled down."""
    return f"{gcode_sha256}-small.jpg"


def thumb_name(gcode_sha256: str) -> str:
    """Return the file name of the same, as small as in a list."""
    return f"{gcode_sha256}-thumb.jpg"


def path_name(gcode_sha256: str) -> str:
    """Return the file name of the picture of the way that the head will go."""
    return f"{gcode_sha256}-path.png"


def share_picture(folder: Path, gcode_sha256: str, *, whole_sha256: str) -> None:
    """Show the picture of one job as another's too: what is left of a job shows all of it."""
    for name_of in (whole_name, small_name, thumb_name):
        source, target = folder / name_of(whole_sha256), folder / name_of(gcode_sha256)
        if source.exists():
            with suppress(FileExistsError):  # another phone asked for it first
                target.hardlink_to(source)


def draw_path(gcode: Path, *, folder: Path, gcode_sha256: str) -> None:
    """Draw the way of the head through a G-code file or job folder where the page finds it."""
    from etchpath.preflight.inspected import inspect_file  # noqa: PLC0415 - as above

    folder.mkdir(parents=True, exist_ok=True)
    target = folder / path_name(gcode_sha256)
    with tempfile.TemporaryDirectory(dir=folder, prefix=SCRATCH) as scratch:
        inspect_file(gcode, picture=Path(scratch) / target.name)
        (Path(scratch) / target.name).replace(target)


def keep_picture(picture: Path, *, folder: Path, gcode_sha256: str) -> None:
    """Put `picture` where the page finds it; for whoever prepares a job, not for the page."""
    from PIL import Image  # noqa: PLC0415 - the page serves pictures without loading this

    folder.mkdir(parents=True, exist_ok=True)
    with Image.open(picture) as image:
        grey = image.convert("L")
    thumb_px = min(SMALL_WIDTH_PX, THUMB_PX * grey.width / max(grey.size))
    small_px = min(SMALL_WIDTH_PX, SMALL_HEIGHT_PX * grey.width / grey.height)
    for name, width_px, quality in (
        (thumb_name(gcode_sha256), thumb_px, THUMB_QUALITY),
        (small_name(gcode_sha256), small_px, _SMALL_QUALITY),
    ):
        size_px = (max(1, round(width_px)), max(1, round(grey.height * width_px / grey.width)))
        drawn = BytesIO()
        grey.resize(size_px, Image.Resampling.LANCZOS).save(
            drawn, "JPEG", quality=quality, optimize=True
        )
        write_whole(folder / name, drawn.getvalue())
    write_whole(folder / whole_name(gcode_sha256), picture.read_bytes())


def pass_on(made: Path, *, folder: Path, gcode_sha256: str) -> None:
    """Put a job's pictures, as a child process left them in `made`, where the page finds them."""
    folder.mkdir(parents=True, exist_ok=True)
    for picture in made.glob(f"{gcode_sha256}*"):
        write_whole(folder / picture.name, picture.read_bytes())
