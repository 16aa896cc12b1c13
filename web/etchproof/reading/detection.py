"""Detection: where a card's four markers are in a photo, to a fraction of a pixel."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchproof.errors import PhotoRefused
from etchproof.layout.markers import CODES, CORNERS, card_and_corner, code_of, dictionary
from etchproof.reading.photograph import Codes

Corners = NDArray[np.floating[Any]]

REFINEMENT_WINDOW_PX: Final = 5
SMOOTHING_PX: Final = 1.5
LEAST_MODULE_PX: Final = 4.0

# Settings of OpenCV's adaptive threshold, tried on a smoothed photo until all four are found.
_AS_USUAL: Final[Mapping[str, float]] = {}
LATER_ATTEMPTS: Final[tuple[Mapping[str, float], ...]] = (
    {"adaptiveThreshConstant": 3},  # for faint markers, as light as L* 80 on 90
    {  # for blotchy ones: a window wider than the pale spots of a thin coat
        "adaptiveThreshWinSizeMin": 51,
        "adaptiveThreshWinSizeMax": 151,
        "adaptiveThreshWinSizeStep": 50,
    },
)
SOFT_EDGE_PX: Final = 8.0  # as the sigma of a blur: the sharpest edge in a good photo has two
LEAST_CONTRAST: Final = 25.0  # codes; a blank wall has no edge to be judged by


@dataclass(frozen=True, slots=True)
class Found:
    """The markers of one card: its number, counted round, and each marker's corners.

    Corners have the shape (4, 2) as (x, y) in pixels, from the marker's own upper left one
    clockwise; the keys are places in `markers.CORNERS`.
    """

    number: int
    markers: Mapping[int, Corners]

    @property
    def module_px(self) -> float:
        """The width of the smallest marker's module."""
        sides = [
            np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).min()
            for corners in self.markers.values()
        ]
        return float(min(sides)) / 8


def find_markers(codes: Codes, among: Collection[int] = ()) -> Found:
    """Return the markers of the card in a photo.

    A spare tile holds several cards: of those in the picture the one counts whose number, counted
    round, is `among` those that it may be. There may be fewer than four markers; see
    `missing_marker`. Raise PhotoRefused, with the remedy, when there is none, when they are too
    small, when two cards that it may be are in the picture, or when it is out of focus.
    """
    found: dict[int, Corners] = {}
    for attempt in _attempts(codes, among):
        found = attempt | found
        if len(_whole(_by_card(found, among))) == 1:
            break
    if not found:
        raise _nothing_found(codes)
    return _one_card(_by_card(found, among))


def _attempts(codes: Codes, among: Collection[int]) -> Iterator[dict[int, Corners]]:
    """Yield what is found of the cards that it may be, of all cards, and of all by other settings.

    Most of the time goes into comparing whatever is square with each of the 587 codes, so those of
    a few cards are found several times as fast.
    """
    if among:
        yield _detected(
            codes, of=[code_of(card, at) for card in among for at in range(len(CORNERS))]
        )
    yield _detected(codes)
    smooth = cv2.GaussianBlur(codes, (0, 0), SMOOTHING_PX)
    for settings in LATER_ATTEMPTS:
        yield _detected(smooth, settings)


def _detected(
    codes: Any, changed: Mapping[str, float] = _AS_USUAL, *, of: Sequence[int] = range(CODES)
) -> dict[int, Corners]:
    """Return the corners of the markers with codes `of` the family that are in a photo."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.cornerRefinementWinSize = REFINEMENT_WINDOW_PX
    for name, value in changed.items():
        setattr(settings, name, value)
    family = dictionary()
    # As many wrong bits are put right as in the whole family, which is less than codes lie apart.
    some = cv2.aruco.Dictionary(
        family.bytesList[list(of)], family.markerSize, family.maxCorrectionBits
    )
    detector: Any = cv2.aruco.ArucoDetector(some, settings)
    quads, places, _ = detector.detectMarkers(codes)
    if places is None:
        return {}
    return {
        of[place]: np.asarray(quad, dtype=np.float64).reshape(4, 2)
        for place, quad in zip(np.ravel(places).tolist(), quads, strict=True)
    }


def _by_card(found: Mapping[int, Corners], among: Collection[int]) -> dict[int, dict[int, Corners]]:
    """Return the markers of each card by corner; of cards it may be alone, where one is there."""
    by_card: dict[int, dict[int, Corners]] = {}
    for code, corners in found.items():
        number, corner = card_and_corner(code)
        by_card.setdefault(number, {})[corner] = corners
    return {number: by_card[number] for number in by_card if number in among} or by_card


def _whole(by_card: Mapping[int, Mapping[int, Corners]]) -> list[int]:
    return [number for number, markers in by_card.items() if len(markers) == len(CORNERS)]


def _one_card(by_card: Mapping[int, Mapping[int, Corners]]) -> Found:
    whole = _whole(by_card)
    if len(whole) > 1:
        raise PhotoRefused(
            "two-cards",
            "there is more than one card in the picture, and any of them may be meant: photograph "
            "one at a time, or cover the others with paper",
        )
    number = whole[0] if whole else max(by_card, key=lambda card: len(by_card[card]))
    card = Found(number, by_card[number])
    if card.module_px < LEAST_MODULE_PX:
        raise PhotoRefused(
            "too-small",
            f"the card is too small in the picture (a marker is {card.module_px * 8:.0f} pixels "
            "wide): go nearer, so that the card fills most of it",
        )
    return card


def _nothing_found(codes: Codes) -> PhotoRefused:
    if _softness_px(codes) > SOFT_EDGE_PX:
        return PhotoRefused("out-of-focus", OUT_OF_FOCUS)
    return PhotoRefused(
        "no-marker",
        "no card can be made out in the picture: photograph the whole card from above, near "
        "enough to fill the picture, in focus and without glare",
    )


def _softness_px(codes: Codes) -> float:
    """Return how soft the sharpest edges of a photo are, as the sigma of a blur in pixels.

    An edge of height A blurred by sigma is A / (sigma √(2π)) steep where it is steepest.
    """
    smooth = cv2.GaussianBlur(codes, (0, 0), SMOOTHING_PX).astype(np.float32)
    low, high = np.percentile(smooth[::8, ::8], (1, 99))
    if high - low < LEAST_CONTRAST:
        return 0.0
    steepness = np.maximum(np.abs(np.diff(smooth[::4], axis=1)).max(axis=1), 1e-3)
    steepest = float(np.percentile(steepness, 90))
    return float((high - low) / (steepest * np.sqrt(2 * np.pi)))


OUT_OF_FOCUS: Final = (
    "the picture is out of focus or was moved: tap on the card to focus, hold the phone with both "
    "hands, and take it again"
)
