"""Test cards on disk: a folder each in the page's own, named by the card's number.

The logbook keeps what a tile is and what it showed; here lie its job, to be etched again, and
its photos made small, with what was read where drawn on them: overlays, which are kept for ever.
A folder that is lost is made again from the logbook's card.
"""

import json
import re
import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Final

from etchwire.storing import write_whole
from etchwire.transport.json_text import JsonTable

CARDS_FOLDER: Final = "test-tiles"
ORDER_NAME: Final = "order.json"
MADE_NAME: Final = "made.json"
QUESTION_NAME: Final = "question.json"
READ_NAME: Final = "read.json"
JOB_FOLDER: Final = "job"
PICTURES_OF_JOB: Final = "pictures"
PHOTOS_FOLDER: Final = "photos"
OVERLAY: Final = re.compile(r"read-[0-9a-f]{16}(-thumb)?\.jpg")


def overlay_name(photo_sha256: str) -> str:
    """Return the file name of a card's photo with what was read where."""
    return f"read-{photo_sha256[:16]}.jpg"


def thumb_of(overlay: str) -> str:
    """Return the file name of the same photo as small as in a list, with nothing drawn on it."""
    return overlay.replace(".jpg", "-thumb.jpg")


@dataclass(frozen=True, slots=True)
class CardFiles:
    """The files of one test card, under the page's own folder."""

    number: int
    folder: Path

    @classmethod
    def of(cls, page_folder: Path, number: int) -> "CardFiles":
        """Return the files of tile `number`; nothing is made yet."""
        return cls(number, page_folder / CARDS_FOLDER / f"card-{number}")

    def order(self, table: JsonTable) -> str:
        """Write down what is wanted; return the key of that wish."""
        return self._ask(ORDER_NAME, table)

    def question(self, table: JsonTable) -> str:
        """Write down what is to be read; return the key of that question."""
        return self._ask(QUESTION_NAME, table)

    def made(self) -> JsonTable | None:
        """Return what was made, where it is of the newest order."""
        return self._answer(ORDER_NAME, MADE_NAME)

    def read(self) -> JsonTable | None:
        """Return what was read, where it is of the newest question."""
        return self._answer(QUESTION_NAME, READ_NAME)

    def ordered(self) -> JsonTable | None:
        """Return the newest order."""
        return self._table(ORDER_NAME)

    def asked(self) -> JsonTable | None:
        """Return the newest question."""
        return self._table(QUESTION_NAME)

    def overlays(self, names: Iterable[str]) -> list[str]:
        """Return those of `names` that are overlays and still here."""
        return [name for name in names if OVERLAY.fullmatch(name) and (self.folder / name).exists()]

    def job(self) -> Path | None:
        """Return the folder of its job, if that is here."""
        job = self.folder / JOB_FOLDER
        return job if job.is_dir() else None

    def photo_path(self, number: int) -> Path:
        """Return where the next question's photo `number` is put; its folder is there."""
        folder = self.folder / PHOTOS_FOLDER
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        return folder / f"photo-{number}"

    def drop_photos(self) -> None:
        """Throw the photos away as they came: what was read of them is kept small."""
        shutil.rmtree(self.folder / PHOTOS_FOLDER, ignore_errors=True)

    def drop_question(self) -> None:
        """Forget what was read, once the logbook has it."""
        self.drop_photos()
        for name in (QUESTION_NAME, READ_NAME):
            (self.folder / name).unlink(missing_ok=True)

    def _ask(self, name: str, table: JsonTable) -> str:
        text = json.dumps(table, sort_keys=True)
        key = sha256(text.encode()).hexdigest()[:16]
        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_whole(self.folder / name, json.dumps({**table, "of": key}))
        return key

    def _answer(self, asked: str, answered: str) -> JsonTable | None:
        question, answer = self._table(asked), self._table(answered)
        is_its = question is not None and answer is not None and question["of"] == answer.get("of")
        return answer if is_its else None

    def _table(self, name: str) -> JsonTable | None:
        try:
            table = json.loads((self.folder / name).read_bytes())
        except (OSError, ValueError):
            return None
        return table if isinstance(table, dict) else None
