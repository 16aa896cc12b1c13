"""Job folders: written aside and put in place in one piece, so that nobody finds half a job."""

import errno
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from etchphoto.errors import EtchphotoError, JobNotWritable
from etchwire.sheet import SHEET_NAME


@contextmanager
def new_job_folder(folder: Path, *, is_replacing: bool = False) -> Iterator[Path]:
    """Give a folder to write into; it becomes `folder` when the block ends without an error.

    An existing job stays whole until the new one is, and goes only where `is_replacing`.
    Anything else at `folder` is never touched. Raise JobNotWritable where that cannot be.
    """
    folder = Path(os.path.abspath(folder))  # noqa: PTH100  resolve() would follow a link away
    _require_room(folder, is_replacing=is_replacing)
    partial = _beside(folder, "partial")
    try:
        partial.mkdir()
        yield partial
        _put_in_place(partial, folder)
    except EtchphotoError:
        raise  # some of ours are OSErrors too, and none is about this folder's place
    except OSError as error:
        raise JobNotWritable(_reason(folder, error)) from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _require_room(folder: Path, *, is_replacing: bool) -> None:
    try:
        if not folder.parent.is_dir():
            raise JobNotWritable(
                f"there is no folder {folder.parent} to put the job into: make it first, or choose "
                "another place"
            )
        if not os.path.lexists(folder):
            return
        if not folder.is_dir():
            raise JobNotWritable(f"{folder} is a file: choose another name for the job's folder")
        names = {entry.name for entry in folder.iterdir()}
    except PermissionError as error:
        raise JobNotWritable(_reason(folder, error)) from error
    if not names:
        return
    if SHEET_NAME not in names:
        raise JobNotWritable(
            f"{folder} holds other things than a job: choose another folder, or an empty one"
        )
    if not is_replacing:
        raise JobNotWritable(
            f"there is already a job in {folder}: choose another folder, or ask for it to be "
            "replaced (--replace)"
        )


def _put_in_place(partial: Path, folder: Path) -> None:
    if not folder.is_dir() or not any(folder.iterdir()):
        partial.rename(folder)  # an empty folder gives way in the same step
        return
    old = _beside(folder, "old")
    folder.rename(old)
    try:
        partial.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    with suppress(OSError):
        shutil.rmtree(old)


def _beside(folder: Path, what: str) -> Path:
    return folder.with_name(f".{folder.name}.{secrets.token_hex(4)}.{what}")


def _reason(folder: Path, error: OSError) -> str:
    if error.errno == errno.ENOSPC:
        return f"the disk is full, so the job cannot be put in {folder}: make room and try again"
    return (
        f"the job cannot be put in {folder} ({error.strerror}): choose a folder that you may "
        "write to"
    )
