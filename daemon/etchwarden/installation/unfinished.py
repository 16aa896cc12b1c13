"""The note of a change that has begun: what it goes back to, kept over a power cut."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from etchwarden.installation.file_layout import write_whole
from etchwarden.installation.keeping import Copy
from etchwarden.installation.paths import Places


@dataclass(frozen=True, slots=True)
class Unfinished:
    """The release that a change came from, and the copies of its records as it left them.

    `before_it`: the release that was kept beside it.
    """

    came_from: str | None
    before_it: str | None
    copies: tuple[Copy, ...] = ()

    @classmethod
    def noted(cls, places: Places) -> Self | None:
        """Return what was noted; None where no change was cut short."""
        try:
            table = json.loads(places.unfinished.read_text())
            copies = tuple(Copy(Path(live), Path(kept)) for live, kept in table["copies"])
            return cls(table["came_from"], table["before_it"], copies)
        except FileNotFoundError:
            return None
        except (ValueError, KeyError, TypeError):
            return None  # not ours: it is written whole or not at all

    def note(self, places: Places) -> None:
        """Write it down."""
        copies = [[str(copy.live), str(copy.kept)] for copy in self.copies]
        table = {"came_from": self.came_from, "before_it": self.before_it, "copies": copies}
        write_whole(places.unfinished, json.dumps(table).encode())


def forget(places: Places) -> None:
    """Take the note away: the change has ended, one way or the other."""
    places.unfinished.unlink(missing_ok=True)
