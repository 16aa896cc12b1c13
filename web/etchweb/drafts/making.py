"""What is made of a draft, in the child process: the photo for a screen, renderings, the job."""

import json
import shutil
import time
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from etchpath.writer.raster import Bits, in_parts, parts_per_dot
from etchphoto.decoder.loading import LoadedPhoto, load_photo
from etchphoto.dots.gain import foreseen_gain
from etchphoto.estimate import dot_findings, grey_findings, speed_findings
from etchphoto.etch_time import etching_s
from etchphoto.expected import draw_preview, save_dots
from etchphoto.findings import PhotoFinding
from etchphoto.framing import Frame, frame_photo
from etchphoto.grey_mixes import GREY_MIXES
from etchphoto.halftone import Coverage
from etchphoto.job.order import LETTERING, PhotoOrder, frame_of
from etchphoto.job.order_findings import findings, suited_halftone, worth_of_card
from etchphoto.job.prepare import dots_of, prepare_job
from etchphoto.layout.design_job import design_job, prepare_design
from etchphoto.layout.mural_job import search_s
from etchphoto.light import linear_to_srgb
from etchphoto.proof_sheet import SHEET_PX, draw_proof
from etchphoto.resampling import luminance_per_dot, luminances_per_dot
from etchphoto.tone import coverage_to_burn
from etchphoto.turning import mirrored, turned
from etchweb.drafts.draft import Draft
from etchweb.drafts.halftones import EVERY_HALFTONE, HALFTONE_CHOICES, Tried
from etchweb.drafts.made import JobFinding, MadeJob, PhotoFacts
from etchweb.drafts.order import design_of, dots_of_wall, order_as_one, order_of
from etchweb.drafts.store import (
    DOTS_NAME,
    DRAFT_NAME,
    EARLY_NAME,
    FACTS_NAME,
    FOUND_NAME,
    JOB_FOLDER,
    MIXES_NAME,
    PHOTO_NAME,
    PICTURES_OF_JOB,
    PROOF_NAME,
    SCREEN_NAME,
    SEEN_NAME,
    TRIED_NAME,
    WAYS_NAME,
    cut_name,
)
from etchweb.previews.store import keep_picture
from etchwire.sheet import PICTURE_NAME, SHEET_NAME, Sheet
from etchwire.storing import write_whole
from etchwire.transport.json_text import JsonTable

SCREEN_PX: Final = 640
_SCREEN_QUALITY: Final = 72
LOOK_PX: Final = 420  # the picture that sliders change: a phone is about as wide
MIX_PX: Final = 104
SEEN_PX: Final = 480  # dots hardly compress
_SEEN_QUALITY: Final = 45
TRIED_DOTS: Final = 100  # about half the pixels that a phone shows them on
_LEAST_COLOUR: Final = 0.02  # of white's light; a grey JPEG has less

Progress = Callable[[float], None]


def take_picture(folder: Path, on_progress: Progress) -> None:
    """Look at the photo, and make of it a grey picture for a screen."""
    photo = load_photo(folder / PHOTO_NAME, name=draft_in(folder).name)
    longest = max(photo.width_px, photo.height_px)
    light = luminance_per_dot(photo, _frame_of_whole(photo, min(SCREEN_PX, longest)), on_progress)
    _save_grey(light, folder / SCREEN_NAME)
    facts = PhotoFacts(width_px=photo.width_px, height_px=photo.height_px, sha256=photo.sha256)
    _write(folder / FACTS_NAME, asdict(facts))


def _frame_of_whole(photo: LoadedPhoto, longest_px: int) -> Frame:
    scale = longest_px / max(photo.width_px, photo.height_px)
    return frame_photo(
        photo.width_px,
        photo.height_px,
        width_mm=float(max(1, round(photo.width_px * scale))),
        height_mm=float(max(1, round(photo.height_px * scale))),
        line_spacing_mm=1.0,
    )


def try_picture(folder: Path, on_progress: Progress) -> None:
    """Cut the photo for the screen, and render a part of it in each way there is."""
    draft = draft_in(folder)
    order, scale = order_as_one(draft)
    photo = photo_of(folder, draft)
    frame = frame_of(photo, order)
    is_coloured = _save_cuts(folder, photo, frame)
    light = luminance_per_dot(
        photo, frame, lambda share: on_progress(share * 0.7), GREY_MIXES[order.grey_mix]
    )
    wanted = coverage_to_burn(
        light,
        order.adjustments,
        black=order.black,
        retouching=order.retouching.within(frame.crop),
    )
    part = wanted[_liveliest(wanted)]
    dot = order.dot
    ways = HALFTONE_CHOICES if dot is None else EVERY_HALFTONE
    variants = {kind: replace(order, halftone=kind) for kind in ways}
    dots = [dots_of(variant.tone_curve.apply(part), variant) for variant in variants.values()]
    parts = max(map(parts_per_dot, dots))
    beside = np.hstack([in_parts(one, parts) for one in dots])
    save_dots(beside, folder / WAYS_NAME, 1, order.look, bits_a_px=4)
    tried = Tried(
        of=draft.tried_key,
        black=order.black,
        seconds={kind: etching_s(wanted, variant) / scale**2 for kind, variant in variants.items()},
        part_dots=(part.shape[1], part.shape[0]),
        is_coloured=is_coloured,
    )
    if dot is not None:
        gain = foreseen_gain(dot, order.motion)
        tried = replace(tried, test_card_gain_percent=gain.percent)
        if draft.wall:
            tried = replace(tried, search_s=search_s(order, dots_of_wall(draft), time.process_time))
    elif order.tone is None:
        worth, suited = worth_of_card(order.motion), suited_halftone(order.motion)
        tried = replace(tried, without_card=worth, suited=suited)
    _write(folder / TRIED_NAME, asdict(tried))


def make_picture(folder: Path, on_progress: Progress) -> None:
    """Make the job, its pictures, and what is known of it beforehand."""
    draft = draft_in(folder)
    order = order_of(draft)
    foreseen: list[PhotoFinding] = []

    def look(coverage: Coverage, bits: Bits) -> None:
        shown = order.tone_curve.looks_like(coverage)
        foreseen.extend(grey_findings(shown, is_lettering=order.halftone == LETTERING))
        look_at_dots(bits)

    def look_at_dots(bits: Bits) -> None:
        foreseen.extend(dot_findings(bits))
        seen = draw_preview(bits, SEEN_PX, order.look)
        seen.save(folder / SEEN_NAME, "JPEG", quality=_SEEN_QUALITY)
        save_dots(bits, folder / DOTS_NAME, 1, order.look)
        size_mm = (
            bits.shape[1] * order.recipe.line_spacing_mm,
            bits.shape[0] * order.recipe.line_spacing_mm,
        )
        save_proof(draw_preview(bits, SHEET_PX, order.look), draft, size_mm, folder / PROOF_NAME)

    def show(bits: Bits) -> None:
        early = folder / f"{EARLY_NAME}.part"
        draw_preview(bits, SEEN_PX, order.look).save(early, "JPEG", quality=_SEEN_QUALITY)
        early.replace(folder / EARLY_NAME)

    photo = None if draft.is_sign else photo_of(folder, draft)
    known: tuple[PhotoFinding, ...]
    prepare: Callable[..., Sheet]
    if photo is None or not draft.is_plain:
        design = design_job(design_of(draft), order, photo)
        known = design.findings
        design = replace(design, order=accepting(known, design.order))
        prepare = partial(prepare_design, design, on_dots=look_at_dots)
    else:
        known = findings(photo, order)
        prepare = partial(
            prepare_job, photo, accepting(known, order), on_dots=look, on_preview=show
        )
    job = folder / JOB_FOLDER
    if not (job / SHEET_NAME).exists():  # it was a mural's
        shutil.rmtree(job, ignore_errors=True)
    (folder / EARLY_NAME).unlink(missing_ok=True)
    sheet = prepare(folder=job, is_replacing=True, on_progress=on_progress)
    (folder / EARLY_NAME).unlink(missing_ok=True)
    keep_picture(
        job / PICTURE_NAME, folder=folder / PICTURES_OF_JOB, gcode_sha256=sheet.gcode_sha256
    )
    found = (*known, *foreseen, *speed_findings(sheet))
    _write(folder / FOUND_NAME, asdict(made_job(draft, sheet, found)))


def accepting(known: tuple[PhotoFinding, ...], order: PhotoOrder) -> PhotoOrder:
    """Return the order that is made for all that: a person reads it before it is etched."""
    return replace(order, acknowledged=frozenset(finding.name for finding in known))


def save_proof(tile: Image.Image, draft: Draft, size_mm: tuple[float, float], path: Path) -> None:
    """Save what may be sent to whoever ordered the tile; nothing of the box is on it."""
    lines = proof_lines(draft, size_mm, datetime.now().astimezone())
    sheet = draw_proof(tile, size_mm[0], lines)
    dpi = round(sheet.dots_per_inch)
    sheet.picture.save(path, "JPEG", quality=80, dpi=(dpi, dpi))


def proof_lines(draft: Draft, size_mm: tuple[float, float], day: datetime) -> list[str]:
    """Return what stands below the tile: what was agreed, to be read once more by the customer."""
    width_mm, height_mm = size_mm
    lettering = " / ".join(draft.decoration.text.splitlines())
    return [
        draft.title,
        f"{width_mm:.4g} x {height_mm:.4g} mm on {draft.recipe.surface if draft.recipe else ''}",
        *([f"Lettering: {lettering}"] if lettering else []),
        f"Proof {draft.proof_number}, {day:%d %B %Y}",
        "A simulation: the etched tile will differ a little.",
    ]


def made_job(draft: Draft, sheet: Sheet, found: tuple[PhotoFinding, ...]) -> MadeJob:
    """Return what the page is told of the job of `draft`."""
    picture, motion = sheet.picture, sheet.motion
    return MadeJob(
        of=draft.found_key,
        findings=told_findings(found),
        burnt=sheet.coverage,
        predicted_s=sheet.predicted_s,
        columns=sheet.columns,
        rows=sheet.rows,
        size_mm=(sheet.width_mm, sheet.height_mm),
        at_mm=(picture.left_mm, picture.bottom_mm),
        reach_mm=(motion.left_mm, motion.bottom_mm, motion.right_mm, motion.top_mm),
        gcode_sha256=sheet.gcode_sha256,
    )


def told_findings(found: tuple[PhotoFinding, ...]) -> tuple[JobFinding, ...]:
    """Return what was found as the page is told."""
    return tuple(
        JobFinding(name=one.name, sentence=one.sentence, must_be_read=one.needs_acknowledgement)
        for one in found
    )


def draft_in(folder: Path) -> Draft:
    """Return the draft that lies in `folder`."""
    return Draft.from_table(json.loads((folder / DRAFT_NAME).read_bytes()))


def photo_of(folder: Path, draft: Draft) -> LoadedPhoto:
    """Return the draft's photo, turned and mirrored as it says."""
    photo = turned(load_photo(folder / PHOTO_NAME, name=draft.name), draft.quarters)
    return mirrored(photo) if draft.is_mirrored else photo


def _save_cuts(folder: Path, photo: LoadedPhoto, frame: Frame) -> bool:
    """Save the cut photo for the screen in each mix of colours; return whether they differ."""
    scale = min(1.0, LOOK_PX / max(frame.rows, frame.columns))
    small = replace(
        frame,
        columns=max(1, round(frame.columns * scale)),
        rows=max(1, round(frame.rows * scale)),
    )
    lights = luminances_per_dot(photo, small, tuple(GREY_MIXES.values()))
    cuts = dict(zip(GREY_MIXES, lights, strict=True))
    for mix, light in cuts.items():
        _save_grey(light, folder / cut_name(mix))
    strip = np.hstack(list(cuts.values()))
    a_px = MIX_PX / max(small.rows, small.columns)
    _save_grey(strip, folder / MIXES_NAME, round(a_px * max(strip.shape)))
    red, blue = cuts["red"], cuts["blue"]
    return bool(np.abs(red - blue).max() > _LEAST_COLOUR)


def _liveliest(coverage: Coverage) -> tuple[slice, slice]:
    """Return the part with the most greys and the most going on: there the ways differ most."""
    rows, columns = coverage.shape
    high, wide = min(TRIED_DOTS, rows), min(TRIED_DOTS, columns)
    corners = (
        (top, left)
        for top in range(0, rows - high + 1, max(1, high // 2))
        for left in range(0, columns - wide + 1, max(1, wide // 2))
    )
    parts = [(slice(top, top + high), slice(left, left + wide)) for top, left in corners]
    return max(parts, key=lambda part: _liveliness(coverage[part]))


def _liveliness(part: Coverage) -> float:
    return float(part.std() * (part * (1 - part)).mean())


def _save_grey(light: NDArray[np.float32], path: Path, longest_px: int = SCREEN_PX) -> None:
    codes = np.rint(linear_to_srgb(light) * 255).astype(np.uint8)
    image = Image.fromarray(codes)
    image.thumbnail((longest_px, longest_px))
    image.save(path, "JPEG", quality=_SCREEN_QUALITY, optimize=True)


def _write(path: Path, table: JsonTable) -> None:
    write_whole(path, json.dumps(table))
