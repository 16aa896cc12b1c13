"""Drafts: pictures on their way to a job, each a folder in the page's own.

A draft's name is ours and says nothing; what a phone calls its photo is only ever shown. The
photo is kept as it came, read by the child process alone and never sent out again: phones get
pictures that were made from it.
"""

import json
import os
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, replace
from pathlib import Path
from typing import Final, TypeVar

from etchweb.drafts.decoration import AS_SIGN
from etchweb.drafts.draft import TAKEN_OVER, Draft
from etchweb.drafts.halftones import Tried
from etchweb.drafts.made import DrawnTile, MadeJob, PhotoFacts
from etchwire.calls.json_values import from_json_value
from etchwire.errors import MalformedMessage
from etchwire.retention import DRAFTS, Allowance, throw_out
from etchwire.storing import file_sha256, write_whole
from etchwire.transport.json_text import JsonTable

DRAFTS_FOLDER: Final = "drafts"
DRAFT_NAME: Final = "draft.json"
PHOTO_NAME: Final = "photo"
ARRIVING_NAME: Final = "photo.arriving"
FACTS_NAME: Final = "photo.json"  # what the child found in the photo
SCREEN_NAME: Final = "screen.jpg"
TRIED_NAME: Final = "tried.json"
WAYS_NAME: Final = "tried.png"  # a part of it in each way to make dots, side by side
MIXES_NAME: Final = "mixes.jpg"  # the cut in each mix of colours to grey, side by side
FOUND_NAME: Final = "found.json"
SEEN_NAME: Final = "seen.jpg"
EARLY_NAME: Final = "early.jpg"  # the tile as it is while dots are still being worked out
DOTS_NAME: Final = "dots.png"
PLAN_NAME: Final = "plan.svg"  # by which a mural is laid
TILE_NAME: Final = "tile.jpg"  # what was added to it, to scale
DRAWN_NAME: Final = "drawn.json"
PROOF_NAME: Final = "proof.jpg"  # to send to whoever ordered the tile
JOB_FOLDER: Final = "job"
PICTURES_OF_JOB: Final = "pictures"

Made = TypeVar("Made")

_ID: Final = re.compile(r"[0-9a-f]{16}")


def cut_name(grey_mix: str) -> str:
    """Return the file name of the cut photo for a screen, its colours mixed so."""
    return f"cut-{grey_mix}.jpg"


def tile_seen_name(number: int) -> str:
    """Return the file name of one tile of a mural, as it will look."""
    return f"seen-{number}.jpg"


class Drafts:
    """The drafts in one folder. Each change is in place whole or not at all."""

    def __init__(self, folder: Path) -> None:
        """Keep drafts in `folder`, which is made when there is something to keep."""
        self._folder = folder

    def begin(self, name: str, like: Draft | None = None, *, draft_id: str = "") -> Draft:
        """Return a new draft of the photo `name`, decided as another draft was.

        What belongs to one photo alone (turn, crop, oval, name and place) is not taken over. What
        lies under a `draft_id` that is given is thrown away.
        """
        if draft_id:
            self.forget(draft_id)
        draft = Draft(id=draft_id or secrets.token_hex(8), name=name)
        if like is not None:
            draft = replace(draft, **{field: getattr(like, field) for field in TAKEN_OVER})
        return self._begun(draft)

    def begin_sign(self) -> Draft:
        """Return a new draft of a sign."""
        draft = Draft(id=secrets.token_hex(8), name="Sign", is_sign=True, decoration=AS_SIGN)
        return self._begun(draft)

    def _begun(self, draft: Draft) -> Draft:
        self.folder_of(draft.id).mkdir(parents=True, mode=0o700)
        try:
            self.keep(draft)
        except OSError:
            self.forget(draft.id)
            raise
        return draft

    def begin_from(self, kept: Path) -> Draft | None:
        """Return a new draft of what is kept of an earlier one; None where that is unfit.

        Tiles of a wall are made again for that wall, until a person says otherwise.
        """
        earlier = kept_draft(kept)
        if earlier is None:
            return None
        draft = replace(earlier, id=secrets.token_hex(8), earlier_wall=earlier.mural)
        folder = self.folder_of(draft.id)
        folder.mkdir(parents=True, mode=0o700)
        try:
            if not draft.is_sign:
                shutil.copy2(kept / PHOTO_NAME, folder / PHOTO_NAME)
            self.keep(draft)
        except OSError:
            self.forget(draft.id)
            raise
        return draft

    def keep(self, draft: Draft) -> None:
        """Write `draft` down."""
        write_whole(self.folder_of(draft.id) / DRAFT_NAME, json.dumps(asdict(draft)))

    def find(self, draft_id: str) -> Draft | None:
        """Return the draft of that name, if there is one."""
        if not _ID.fullmatch(draft_id):
            return None
        return kept_draft(self.folder_of(draft_id))

    def facts(self, draft_id: str) -> PhotoFacts | None:
        """Return what was found in the photo, once the child has looked at it."""
        return _as(PhotoFacts, self._read(draft_id, FACTS_NAME))

    def tried(self, draft: Draft) -> Tried | None:
        """Return what the renderings to choose from are, where they are of the draft as it is."""
        tried = _as(Tried, self._read(draft.id, TRIED_NAME))
        return tried if tried and tried.of == draft.tried_key else None

    def found(self, draft: Draft) -> MadeJob | None:
        """Return what is known of the job, where it was made of the draft as it is now."""
        found = _as(MadeJob, self._read(draft.id, FOUND_NAME))
        return found if found and found.of == draft.found_key else None

    def design_sha256(self, draft: Draft) -> str:
        """Return what tells the draft's picture from others; raise OSError without its photo."""
        if draft.is_sign:
            return draft.design_sha256("")
        facts = self.facts(draft.id)
        if facts is not None:
            return draft.design_sha256(facts.sha256)
        return draft.design_sha256(file_sha256(self.folder_of(draft.id) / PHOTO_NAME))

    def drawn(self, draft: Draft) -> DrawnTile | None:
        """Return what is known of the tile drawn to scale, where it is of the draft as it is."""
        drawn = _as(DrawnTile, self._read(draft.id, DRAWN_NAME))
        return drawn if drawn and drawn.of == draft.found_key else None

    def clear_job(self, draft_id: str) -> None:
        """Throw the job away, which is large and elsewhere by now; the draft can be made again."""
        (self.folder_of(draft_id) / FOUND_NAME).unlink(missing_ok=True)
        shutil.rmtree(self.folder_of(draft_id) / JOB_FOLDER, ignore_errors=True)

    def clear_shown(self, draft_id: str) -> None:
        """Throw away what shows the picture as it was before a change."""
        for name in (FOUND_NAME, SEEN_NAME, PROOF_NAME):
            (self.folder_of(draft_id) / name).unlink(missing_ok=True)

    def forget(self, draft_id: str) -> None:
        """Throw a draft away with all that was made of it."""
        shutil.rmtree(self.folder_of(draft_id), ignore_errors=True)

    def all(self) -> list[Draft]:
        """Return every draft, the one touched last first."""
        found = (self.find(path.name) for path in self._by_age())
        return [draft for draft in found if draft is not None]

    def clear_old(self, now_s: float, *, of_orders: Allowance) -> None:
        """Throw away what nobody touched for long, and the oldest of too many.

        What was made for an order was shown to a customer: it stays as long as `of_orders` says.
        """
        others: list[list[Path]] = []
        ordered: list[list[Path]] = []
        for path in self._folders():
            draft = self.find(path.name)
            (others if draft is None or draft.item is None else ordered).append([path])
        throw_out(others, DRAFTS, now_s=now_s)
        throw_out(ordered, of_orders, now_s=now_s)

    def clear_unfinished(self) -> None:
        """Throw away what a killed page left half done; for its start, before anybody writes."""
        for folder in list(self._folders()):
            draft = kept_draft(folder)
            is_whole = (folder / PHOTO_NAME).exists() or (draft is not None and draft.is_sign)
            if not ((folder / DRAFT_NAME).exists() and is_whole):
                shutil.rmtree(folder, ignore_errors=True)  # its photo never came whole
            for half in (*folder.glob(f"{DRAFT_NAME}.*"), folder / ARRIVING_NAME):
                with suppress(OSError):  # a card that can only be read, say
                    half.unlink()

    def folder_of(self, draft_id: str) -> Path:
        """Return where a draft lies."""
        return self._folder / draft_id

    def _by_age(self) -> list[Path]:
        return sorted(self._folders(), key=_touched_at_s, reverse=True)

    def _folders(self) -> Iterator[Path]:
        if self._folder.is_dir():
            yield from (path for path in self._folder.iterdir() if _ID.fullmatch(path.name))

    def _read(self, draft_id: str, name: str) -> JsonTable | None:
        return _table_at(self.folder_of(draft_id) / name)


def kept_draft(folder: Path) -> Draft | None:
    """Return the draft that lies in `folder`; None where there is none, or only half of one."""
    table = _table_at(folder / DRAFT_NAME)
    try:
        return None if table is None else Draft.from_table(table)
    except (TypeError, ValueError):
        return None


def _table_at(path: Path) -> JsonTable | None:
    try:
        table = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return None
    return table if isinstance(table, dict) else None


def _as(kind: type[Made], table: JsonTable | None) -> Made | None:
    """Return what the child left as a `kind`, None for what is none or of another release."""
    try:
        return None if table is None else from_json_value(table, kind)
    except MalformedMessage:
        return None


def _touched_at_s(folder: Path) -> float:
    try:
        return os.stat(folder).st_mtime  # noqa: PTH116 - a folder's time moves with its entries
    except OSError:
        return 0.0
