"""What the page throws away lest its card fill: pictures, photos, files of test cards."""

import re
import shutil
from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from etchweb.previews.store import NAME as PICTURE
from etchweb.previews.store import PICTURES_FOLDER, SCRATCH
from etchweb.storage.card_files import CARDS_FOLDER, OVERLAY
from etchweb.storage.kept_for import allowances
from etchweb.storage.made_from import MADE_FROM_FOLDER
from etchweb.storage.made_from import NAME as MADE_FROM_NAME
from etchweb.storage.tile_photos import NAME as TILE_PHOTO
from etchwire.retention import HALF_WRITTEN, throw_out
from etchwire.storing import UNFINISHED

_TEST_TILE: Final = re.compile(r"card-\d+")


def clear_out(folder: Path, *, now_s: float) -> None:
    """Throw away what has become too old or too much in the page's own `folder`.

    A picture that is gone is drawn again with the next job of it; a test card's files are made
    again from the logbook, and what was read where in their photos stays for ever; of a photo of a
    wiped tile the verdict stays.
    """
    allowed = allowances(folder)
    pictures = list(_in(folder / PICTURES_FOLDER))
    throw_out(_by_job(pictures), allowed["pictures"], now_s=now_s)
    photos = [[path] for path in pictures if TILE_PHOTO.fullmatch(path.name)]
    throw_out(photos, allowed["tile_photos"], now_s=now_s)
    throw_out(([path] for path in pictures if _is_half(path.name)), HALF_WRITTEN, now_s=now_s)
    tiles = [path for path in _in(folder / CARDS_FOLDER) if _TEST_TILE.fullmatch(path.name)]
    files = [[path for path in _in(tile) if not OVERLAY.fullmatch(path.name)] for tile in tiles]
    throw_out(filter(None, files), allowed["test_tiles"], now_s=now_s)
    for tile in tiles:
        with suppress(OSError):
            tile.rmdir()  # unless something is left in it
    jobs = list(_in(folder / MADE_FROM_FOLDER))
    kept = [[path] for path in jobs if MADE_FROM_NAME.fullmatch(path.name)]
    throw_out(kept, allowed["made_from"], now_s=now_s)
    throw_out(([path] for path in jobs if _is_half(path.name)), HALF_WRITTEN, now_s=now_s)


def forget_job(folder: Path, gcode_sha256: str, tile_photos: Iterable[str]) -> None:
    """Delete what the page's own `folder` keeps of a job: photo, settings, pictures, tiles."""
    shutil.rmtree(folder / MADE_FROM_FOLDER / gcode_sha256, ignore_errors=True)
    pictures = folder / PICTURES_FOLDER
    names = [path.name for path in _in(pictures) if path.name.startswith(gcode_sha256)]
    for name in (*names, *filter(TILE_PHOTO.fullmatch, tile_photos)):
        with suppress(FileNotFoundError):
            (pictures / name).unlink()


def _is_half(name: str) -> bool:
    return name.startswith(SCRATCH) or UNFINISHED.fullmatch(name) is not None


def _by_job(pictures: Iterable[Path]) -> Iterable[Sequence[Path]]:
    of_jobs: dict[str, list[Path]] = defaultdict(list)
    for path in pictures:
        if parts := PICTURE.fullmatch(path.name):
            of_jobs[parts[1]].append(path)
    return of_jobs.values()


def _in(folder: Path) -> list[Path]:
    with suppress(OSError):
        return list(folder.iterdir())
    return []
