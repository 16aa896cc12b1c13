"""Taking an installation away again; the records and the owner's settings stay."""

import shutil
from collections.abc import Iterator
from pathlib import Path

from etchwarden.installation.file_layout import laid_before, take_away
from etchwarden.installation.paths import Places


def removed(places: Places) -> Iterator[Path]:
    """Yield what taking away would take."""
    for target in sorted(laid_before(places)):
        yield places.root / target.relative_to("/")
    for path in (places.command, places.home):
        if path.is_symlink() or path.exists():
            yield path


def remove(places: Places) -> None:
    """Take it away; what lists the files goes last, so that a second run finds what is left."""
    take_away(places)
    places.command.unlink(missing_ok=True)
    for link in (places.current, places.previous):
        link.unlink(missing_ok=True)
    shutil.rmtree(places.releases, ignore_errors=True)
    if places.home.exists():
        shutil.rmtree(places.home)
