"""What is made of a test card, in the child process: its job, and what its photos showed."""

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from etchproof.choosing.card_result import CardEvidence, result_of
from etchproof.layout.card_order import CardOrder, lay_out
from etchproof.layout.job import prepare_card
from etchproof.layout.spare_tile import SpareTile, corner_mm, lay_out_on
from etchproof.reading.camera import OneReading, read_card
from etchproof.reading.overlay import card_in_photo, draw_overlay
from etchweb.previews.store import THUMB_PX, THUMB_QUALITY, keep_picture
from etchweb.storage.card_files import (
    JOB_FOLDER,
    MADE_NAME,
    ORDER_NAME,
    PHOTOS_FOLDER,
    PICTURES_OF_JOB,
    QUESTION_NAME,
    READ_NAME,
    overlay_name,
    thumb_of,
)
from etchwire.sheet import PICTURE_NAME
from etchwire.storing import write_whole
from etchwire.transport.json_text import JsonTable

OVERLAY_QUALITY: Final = 80

Progress = Callable[[float], None]


def make_card(folder: Path, on_progress: Progress) -> None:
    """Lay the card out that was ordered, and make its job and its pictures."""
    order = _read(folder / ORDER_NAME)
    table = dict(order["card"])
    tile = table.pop("spare", None)
    wanted = CardOrder.from_table(table)
    place = None
    if tile is None:
        card = lay_out(wanted)
    else:
        card, place = lay_out_on(SpareTile.from_table(tile), wanted)
    on_progress(0.3)
    job = folder / JOB_FOLDER
    at_mm = None if place is None else corner_mm(place)
    sheet = prepare_card(card, folder=job, is_replacing=True, at_mm=at_mm)
    on_progress(0.9)
    keep_picture(
        job / PICTURE_NAME, folder=folder / PICTURES_OF_JOB, gcode_sha256=sheet.gcode_sha256
    )
    made = {
        "of": order["of"],
        "kind": card.kind,
        "gcode_sha256": sheet.gcode_sha256,
        "width_mm": card.width_mm,
        "height_mm": card.height_mm,
        "predicted_s": sheet.predicted_s,
        "notes": card.notes,
        "place": None if place is None else place.to_table(),
    }
    _write(folder / MADE_NAME, made)


def read_card_photos(folder: Path, on_progress: Progress) -> None:
    """Read the photos, combine them with what hands and eyes found, and tell what it means."""
    question = _read(folder / QUESTION_NAME)
    shown = CardEvidence.from_table(question)
    photos = [folder / PHOTOS_FOLDER / name for name in question["photos"]]
    overlays = question["overlays"]
    if photos:
        reading, ones = read_card(
            photos,
            [shown.card],
            is_wiped=question["is_wiped"],
            names=question.get("names"),  # of an earlier release there are none
        )
        on_progress(0.7)
        overlays = _keep_overlays(folder, ones)
        shown = shown.with_reading(reading)
    earlier = [CardEvidence.from_table(table) for table in question["earlier"]]
    told = result_of(shown, earlier=earlier)
    _write(
        folder / READ_NAME,
        {
            "of": question["of"],
            "way": shown.way,
            "reading": shown.reading.to_json() if shown.reading else "",
            "overlays": overlays,
            "marks": question["marks"],
            "meets": question["meets"],
            "told": told.table,
            "summary": told.summary,
            "recommended": told.recommended,
        },
    )


def _keep_overlays(folder: Path, ones: Sequence[OneReading]) -> list[str]:
    """Keep each photo small, with what was read where drawn on it; return their names.

    Beside it lies the card alone, for lists.
    """
    names = []
    for one in ones:
        name = overlay_name(one.read.sha256)
        draw_overlay(one).save(folder / name, "JPEG", quality=OVERLAY_QUALITY)
        card_in_photo(one, THUMB_PX).save(
            folder / thumb_of(name), "JPEG", quality=THUMB_QUALITY, optimize=True
        )
        names.append(name)
    return names


def _read(path: Path) -> JsonTable:
    table: JsonTable = json.loads(path.read_bytes())
    return table


def _write(path: Path, table: JsonTable) -> None:
    write_whole(path, json.dumps(table, allow_nan=False))
