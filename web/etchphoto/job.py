"""From photo to job: the whole way, as the command and the page both take it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from etchpath.errors import EtchpathError
from etchpath.writer.dots import Order, write_job
from etchphoto.decoder.loading import LoadedPhoto, load_photo
from etchphoto.dots.speeds import Motion
from etchphoto.errors import NeedsAcknowledgement, UnfitOrder
from etchphoto.expected import DotLook, save_expected
from etchphoto.findings import PhotoFinding
from etchphoto.framing import Crop, Frame, frame_photo
from etchphoto.grey_mixes import EYE, GREY_MIXES
from etchphoto.halftone import HALFTONES, Bits, Coverage
from etchphoto.job_folder import new_job_folder
from etchphoto.light import lightness, luminance_of_lightness
from etchphoto.measured_tone import MeasuredTone
from etchphoto.resampling import luminance_per_dot
from etchphoto.retouching import NOT_RETOUCHED, Retouching
from etchphoto.tone import (
    AS_PHOTOGRAPHED,
    BURNT_AS_WANTED,
    GUESSED_BLACK,
    Adjustments,
    ToneCurve,
    coverage_to_burn,
    opened,
)
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.halftones import halftone_name
from etchwire.catalogue.heads import Head, Recipe
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, Photo, Sheet

DEFAULT_HALFTONE: Final = "jarvis"
LETTERING: Final = "threshold"  # the halftone without greys
FROM_TEST_CARD: Final = "test-card"  # dots searched for, by the dot that a tone card showed
PHOTO_HALFTONES: Final = (*HALFTONES, FROM_TEST_CARD)
_ROUNDED_MM: Final = 0.005  # a size that differs by less is what was asked for

# How far each step leads, by the time it takes on a large job.
_RESAMPLED, _TONED, _HALFTONED, _WRITTEN = 0.35, 0.45, 0.6, 0.9
_TONED_BEFORE_SEARCH: Final = 0.15  # a search takes longer than all the rest


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoOrder:
    """What is asked for: how large, on which head, by which recipe, and how it shall look.

    Without a height the photo's shape decides it. `at_x_mm` and `at_y_mm` place the lower left
    corner of the picture; left out, it lies as near to the origin as the run-ups allow. `tone` is
    used where it was measured with this recipe and halftone.
    `retouching` is in shares of the photo. `acknowledged` are the names of findings a person has
    said yes to.
    """

    head: Head
    recipe: Recipe
    width_mm: float
    height_mm: float | None = None
    crop: Crop | None = None
    grey_mix: str = EYE
    adjustments: Adjustments = AS_PHOTOGRAPHED
    retouching: Retouching = NOT_RETOUCHED
    tone: MeasuredTone | None = None
    halftone: str = DEFAULT_HALFTONE
    is_both_directions: bool = True
    at_x_mm: float | None = None
    at_y_mm: float | None = None
    title: str | None = None
    acknowledged: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        """Refuse what does not depend on the photo."""
        if self.halftone not in PHOTO_HALFTONES:
            raise UnfitOrder(
                f"there is no halftone {self.halftone!r}: choose one of "
                f"{', '.join(map(halftone_name, PHOTO_HALFTONES))}"
            )
        if self.grey_mix not in GREY_MIXES:
            raise UnfitOrder(
                f"there is no mix of colours {self.grey_mix!r}: choose one of "
                f"{', '.join(GREY_MIXES)}"
            )
        if self.halftone == FROM_TEST_CARD and self.dot is None:
            raise UnfitOrder(_NO_DOT)
        require_head_can(self.head, self.recipe)

    @property
    def dot(self) -> Dot | None:
        """The dot that this recipe leaves, where a tone card showed it."""
        return None if self.tone is None else self.tone.dot_for(self.recipe)

    @property
    def black(self) -> float:
        """What fired black reflects beside the bare tile: by the tone card, or a guess."""
        return GUESSED_BLACK if self.dot is None else self.dot.black

    @property
    def motion(self) -> Motion:
        """What decides how fast the dots are run."""
        return Motion(self.head, self.recipe, self.is_both_directions)

    @property
    def look(self) -> DotLook | None:
        """How the dots of this order look on the tile, where a tone card showed it."""
        return None if self.dot is None else DotLook(self.dot, self.motion)

    @property
    def tone_curve(self) -> ToneCurve:
        """The tone curve that holds for this recipe and halftone."""
        if self.tone is None or self.halftone == FROM_TEST_CARD:
            return BURNT_AS_WANTED
        return self.tone.curve_for(self.motion, self.halftone)


def prepare_job(  # noqa: PLR0913 - one keyword for each thing to be heard of
    photo: Path | LoadedPhoto,
    order: PhotoOrder,
    *,
    folder: Path,
    is_replacing: bool = False,
    on_progress: Callable[[float], None] = lambda _: None,
    on_dots: Callable[[Coverage, Bits], None] = lambda _coverage, _bits: None,
    on_preview: Callable[[Bits], None] = lambda _: None,
) -> Sheet:
    """Make the job of a photo in `folder`: G-code, sheet and the tile as promised.

    `on_progress` hears how much is done, 0 to 1; `on_dots` the shares to burn and the dots made
    of them, before they are written; `on_preview` the first dots of a search, early. What they
    raise ends the work. Raise an EtchphotoError, with a sentence, for a photo, order or folder
    that will not do; NeedsAcknowledgement when a finding is still open. `folder` then is as it
    was before. `findings` tells beforehand what is open.
    """
    loaded = photo if isinstance(photo, LoadedPhoto) else load_photo(photo)
    frame = frame_of(loaded, order)
    require_acknowledged(_cheap_findings(frame, order), order)
    with new_job_folder(folder, is_replacing=is_replacing) as partial:
        is_searched = order.halftone == FROM_TEST_CARD
        toned = _TONED_BEFORE_SEARCH if is_searched else _TONED
        coverage = shares_to_burn(
            loaded, frame, order, lambda done: on_progress(done * toned / _TONED)
        )
        bits = dots_of(
            coverage,
            order,
            on_progress=lambda done: on_progress(toned + done * (_HALFTONED - toned)),
            on_preview=on_preview,
        )
        on_dots(coverage, bits)
        del coverage
        sheet = write_dots(bits, order, partial, photo=loaded)
        on_progress(_WRITTEN)
        save_expected(bits, partial / PICTURE_NAME, order.look)
    on_progress(1.0)
    return sheet


def require_acknowledged(found: Sequence[PhotoFinding], order: PhotoOrder) -> None:
    """Raise NeedsAcknowledgement where a person has not said yes to one of `found` yet."""
    still_open = [
        finding
        for finding in found
        if finding.needs_acknowledgement and finding.name not in order.acknowledged
    ]
    if still_open:
        raise NeedsAcknowledgement(still_open)


def dots_of(
    coverage: Coverage,
    order: PhotoOrder,
    *,
    on_progress: Callable[[float], None] = lambda _: None,
    on_preview: Callable[[Bits], None] = lambda _: None,
) -> Bits:
    """Return the dots, True = burnt, that the order's halftone makes of `coverage`.

    `coverage` is what `shares_to_burn` gives, or a part of it.
    """
    if order.dot is None or order.halftone != FROM_TEST_CARD:
        bits = HALFTONES[order.halftone](coverage)
        on_progress(1.0)
        return bits
    from etchphoto.dots.search import search_dots  # noqa: PLC0415  brings OpenCV
    from etchphoto.dots.switch_price import switch_price  # noqa: PLC0415

    return search_dots(
        coverage.astype(np.float32),
        order.dot,
        spacing_mm=order.recipe.line_spacing_mm,
        motion=order.motion,
        switch_price=switch_price(order.head, order.recipe),
        on_progress=on_progress,
        on_preview=on_preview,
    )


def frame_of(photo: LoadedPhoto, order: PhotoOrder) -> Frame:
    """Return how `photo` lies on the tile; raise UnfitOrder where it does not fit the machine."""
    frame = frame_photo(
        photo.width_px,
        photo.height_px,
        width_mm=order.width_mm,
        height_mm=order.height_mm,
        line_spacing_mm=order.recipe.line_spacing_mm,
        crop=order.crop,
    )
    head = order.head
    if frame.width_mm > head.travel_x_mm or frame.height_mm > head.travel_y_mm:
        raise UnfitOrder(
            f"the picture is {frame.width_mm:.1f} × {frame.height_mm:.1f} mm, but {head.name} "
            f"moves only {head.travel_x_mm:g} × {head.travel_y_mm:g} mm: make it smaller"
        )
    return frame


def findings(photo: LoadedPhoto, order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return what the person should know before etching, the gravest first."""
    frame = frame_of(photo, order)
    found = [*_cheap_findings(frame, order), *order_findings(order)]
    asked = (order.width_mm, order.height_mm or frame.height_mm)
    made = (frame.width_mm, frame.height_mm)
    if any(abs(ask - size) > _ROUNDED_MM for ask, size in zip(asked, made, strict=True)):
        sentence = (
            f"The picture becomes {made[0]:.2f} × {made[1]:.2f} mm, a whole number of line "
            f"spacings of {frame.line_spacing_mm:g} mm."
        )
        found.append(PhotoFinding("size-rounded", sentence))
    return tuple(found)


def order_findings(order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return what is known of a photo's tone and register before one looks at it."""
    return (*_tone_findings(order), *_shadow_findings(order), *register_findings(order))


def register_findings(order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return what follows from not knowing where rows of both directions meet."""
    if order.head.register.is_measured:
        return ()
    if order.is_both_directions:
        return (PhotoFinding("register-not-measured", _NOT_MEASURED),)
    return (PhotoFinding("one-way", _ONE_WAY),)


def _cheap_findings(frame: Frame, order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return those that are known without a look at dots, and all that must be acknowledged."""
    return (*spacing_findings(order.head, order.recipe), *frame.findings)


def _tone_findings(order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return whether greys are left to chance; lettering has none."""
    if order.halftone == LETTERING:
        return ()
    if order.tone is None:
        sentence = f"{GREYS_NOT_MEASURED} {worth_of_card(order.motion)}"
        return (PhotoFinding("greys-not-measured", sentence),)
    if order.halftone == FROM_TEST_CARD and order.dot is not None:
        return (_gain_finding(order.dot, order.motion),)
    if order.tone.is_worked_out(order.recipe, order.halftone):
        return (PhotoFinding("tone-curve-worked-out", _WORKED_OUT),)
    changes = order.tone.changes(order.recipe, order.halftone)
    if not changes:
        return ()
    sentence = (
        f"The greys were measured with another {_listed(changes)}, so their tone curve is left "
        f"out. {GREYS_NOT_MEASURED}"
    )
    return (PhotoFinding("tone-curve-left-out", sentence),)


def worth_of_card(motion: Motion) -> str:
    """Return in a sentence what a tone card would win, where none was read."""
    from etchphoto.dots.gain import foreseen_without_card  # noqa: PLC0415  brings OpenCV

    foreseen = foreseen_without_card(motion)
    return (
        f"With dots worked out from it, about {foreseen.card_error:.1f} L* of error would be left "
        f"at arm's length instead of {foreseen.kernel_error:.0f}, for a usual dot of this laser's "
        "stated spot."
    )


def suited_halftone(motion: Motion) -> str:
    """Return the kernel that suits the stated spot, where no tone card was read."""
    from etchphoto.dots.gain import foreseen_without_card  # noqa: PLC0415  brings OpenCV

    return foreseen_without_card(motion).kernel


def _shadow_findings(order: PhotoOrder) -> tuple[PhotoFinding, ...]:
    """Return what opening the shadows does, before and after, in L* of the tile."""
    amount = order.adjustments.open_shadows
    if not amount or order.halftone == LETTERING:
        return ()
    photo = luminance_of_lightness(np.array(_TOLD_LIGHTNESS))
    before, after = (
        lightness(order.black + one * (1 - order.black))
        for one in (photo, opened(photo, amount, order.black))
    )
    parts = (
        f"{its:.0f} in the photo becomes {then:.0f} on the tile instead of {now:.0f}"
        for its, now, then in zip(_TOLD_LIGHTNESS, before, after, strict=True)
    )
    sentence = (
        f"The shadows are opened by {amount:g} of 100. In lightness, of 100, "
        f"{', and '.join(parts)}."
    )
    return (PhotoFinding("shadows-opened", sentence),)


def _gain_finding(dot: Dot, motion: Motion) -> PhotoFinding:
    from etchphoto.dots.gain import foreseen_gain  # noqa: PLC0415  brings OpenCV

    gain = foreseen_gain(dot, motion)
    sentence = (
        "The dots are worked out from your test card. For this laser and surface that leaves "
        f"{gain.search_error:.1f} L* of error at arm's length instead of {gain.kernel_error:.1f}, "
        f"or {gain.percent:.0f} % less, by the card's own dot on a small picture; no tile has "
        "shown it yet."
    )
    return PhotoFinding("dots-from-test-card", sentence)


def _listed(words: Sequence[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


_TOLD_LIGHTNESS: Final = (20.0, 50.0)  # dark hair, and a middle grey
_NO_DOT: Final = (
    "dots from your test card need a tone card that was read with this speed, power, spacing and "
    "air assist: etch one, or choose another halftone"
)
_WORKED_OUT: Final = (
    "The greys were measured with another halftone; the tone curve for this one is worked out from "
    "the dot that the tone card showed."
)
# The range: L* 50 of a photo, etched by the practice recipes without a curve on the four practice
# surfaces (measured there, and as invented as they are).
GREYS_NOT_MEASURED: Final = (
    "Greys not measured on this tile: on the practice tiles a middle grey came out anywhere from "
    "25 steps of lightness too dark to 16 too light, of 100. Etch a tone card with these settings "
    "first."
)
_ONE_WAY: Final = (
    "Where rows to the right and rows to the left meet was never measured on this laser, so all "
    "rows are etched one way, which takes longer: a register card makes both ways possible."
)
_NOT_MEASURED: Final = (
    "This laser's offset between rows to the right and rows to the left was never measured, so "
    "edges may look frayed: etch a register card first, or etch in one direction only."
)


def require_head_can(head: Head, recipe: Recipe) -> None:
    """Raise UnfitOrder for a recipe that this head cannot run."""
    if recipe.feed_mm_per_min > head.max_feed_mm_per_min:
        raise UnfitOrder(
            f"{recipe.feed_mm_per_min:g} mm/min is faster than {head.name} can move: choose a "
            f"speed up to {head.max_feed_mm_per_min:g} mm/min"
        )
    if head.is_spot_measured and _is_below_spot(head, recipe):
        raise UnfitOrder(
            f"a line spacing of {recipe.line_spacing_mm:.4g} mm is narrower than this laser's "
            f"measured spot of {head.spot_mm:g} mm, so lines would burn into one another: choose "
            f"{head.spot_mm:g} mm or more"
        )


def spacing_findings(head: Head, recipe: Recipe) -> tuple[PhotoFinding, ...]:
    """Return whether lines lie closer than the spot that the laser's maker states."""
    if not _is_below_spot(head, recipe):
        return ()
    sentence = (
        f"The line spacing of {recipe.line_spacing_mm:.4g} mm is narrower than the spot of "
        f"{head.spot_mm:g} mm that the maker states, so lines may burn into one another: choose "
        f"{head.spot_mm:g} mm or more, or measure the spot."
    )
    return (PhotoFinding("spacing-below-spot", sentence, needs_acknowledgement=True),)


def _is_below_spot(head: Head, recipe: Recipe) -> bool:
    return recipe.line_spacing_mm < head.spot_mm * (1 - 1e-9)


def shares_to_burn(
    photo: LoadedPhoto,
    frame: Frame,
    order: PhotoOrder,
    on_progress: Callable[[float], None] = lambda _: None,
) -> Coverage:
    """Return the share of each dot's area to burn, 0 to 1: shape (rows, columns), row 0 on top."""
    light = luminance_per_dot(
        photo, frame, lambda done: on_progress(done * _RESAMPLED), GREY_MIXES[order.grey_mix]
    )
    coverage = shares_of_light(light, frame, order)
    on_progress(_TONED)
    return coverage


def shares_of_light(light: Coverage, frame: Frame, order: PhotoOrder) -> Coverage:
    """Return the share of each dot's area to burn; `light` is that of the photo's part `frame`."""
    return coverage_to_burn(
        light,
        order.adjustments,
        order.tone_curve,
        order.black,
        retouching=order.retouching.within(frame.crop),
    )


def write_dots(
    bits: Bits, order: PhotoOrder, folder: Path, *, photo: LoadedPhoto | None = None
) -> Sheet:
    """Write G-code and sheet of `bits` into `folder`; raise UnfitOrder where they do not fit.

    `photo` is what they were made from; a sign is made from none, and needs a title.
    """
    writer_order = Order(
        title=order.title or (Path(photo.name).stem if photo else ""),
        head=order.head,
        recipe=order.recipe,
        halftone=order.halftone,
        photo=None if photo is None else _described(photo),
        open_shadows=order.adjustments.open_shadows,
        is_both_directions=order.is_both_directions,
        at_x_mm=order.at_x_mm,
        at_y_mm=order.at_y_mm,
    )
    try:
        with (folder / GCODE_NAME).open("wb") as file:
            sheet = write_job(bits, file, writer_order)
    except EtchpathError as error:
        raise UnfitOrder(str(error)) from error
    (folder / SHEET_NAME).write_text(sheet.to_json(), encoding="utf-8")
    return sheet


def _described(photo: LoadedPhoto) -> Photo:
    return Photo(
        name=photo.name,
        sha256=photo.sha256,
        width_px=photo.width_px,
        height_px=photo.height_px,
    )
