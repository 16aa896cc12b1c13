"""The controller that was measured: kept beside the logbook, and forgotten by another one.

A measurement belongs to one firmware with its settings of motion and reports. What is kept is a
file of its own and no record: losing it costs half a minute of measuring.
"""

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Final

from etchdaemon.controller.facts import Facts
from etchdaemon.controller.firmware import THIRTY_TWO_BIT
from etchdaemon.controller.setting_list import UNKNOWN_SPEEDS
from etchdaemon.run.measuring import Measuring
from etchwire.calls.machine import ControllerSpeeds, DotSpeed
from etchwire.controller import profile as controller_profile
from etchwire.controller.measured import Axis, kept_mm_per_min, profile_of
from etchwire.controller.profile import ControllerProfile
from etchwire.errors import UnreadableSheet
from etchwire.storing import write_whole

FILE_NAME: Final = "controller.json"
BYTES_PER_S: Final = 11_520.0
DOT_MM: Final = 0.1
_DOTS: Final = ((1, "single dots"), (2, "two dots"), (3, "three dots"))
_SETTINGS: Final = (0, 1, 10, 11, 100, 101, 110, 111, 120, 121)
_UNMEASURED: Final = "Not measured: the figures are those of a controller of its kind."
_ASSUMED: Final = (
    "Not measured: how fast a 32-bit controller takes in lines is an assumption. Measure it."
)


class MeasuredController:
    """What is known of how fast the connected controller takes in lines.

    Without a `folder` nothing is kept over a restart.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self._path = None if folder is None else folder / FILE_NAME
        self._kept: Mapping[str, object] = {}
        self._cached: tuple[Facts, ControllerProfile] | None = None
        if self._path is not None:
            with suppress(OSError, ValueError):
                kept = json.loads(self._path.read_bytes())
                self._kept = kept if isinstance(kept, dict) else {}

    def note(self, measuring: Measuring, facts: Facts) -> None:
        """Keep what came of a measurement; a card without room loses it at the next restart."""
        axis = _axis_of(facts)
        if axis is None or not measuring.samples:
            return
        profile = profile_of(measuring.samples, axis, _assumed(facts), bytes_per_s=BYTES_PER_S)
        self._kept = {"of": _identity(facts), "profile": profile.to_table()}
        self._cached = None
        if self._path is not None:
            with suppress(OSError):
                write_whole(self._path, json.dumps(self._kept))

    def profile(self, facts: Facts) -> ControllerProfile:
        """Return the profile to reckon with: the one measured, else that of its kind."""
        if self._cached is None or self._cached[0] is not facts:  # every snapshot asks
            self._cached = (facts, self._profile(facts))
        return self._cached[1]

    def _profile(self, facts: Facts) -> ControllerProfile:
        profile = self._kept.get("profile")
        if self._kept.get("of") == _identity(facts) and isinstance(profile, dict):
            with suppress(UnreadableSheet, KeyError, TypeError):
                return ControllerProfile.from_table(profile)
        return _assumed(facts)

    def speeds(self, facts: Facts | None) -> ControllerSpeeds:
        """Return what people are shown of it."""
        axis = None if facts is None else _axis_of(facts)
        if facts is None or axis is None:
            return UNKNOWN_SPEEDS
        profile = self.profile(facts)
        dots = tuple(
            DotSpeed(
                dots=count, mm_per_min=round(kept_mm_per_min(count * DOT_MM, axis, profile), -1)
            )
            for count, _ in _DOTS
        )
        speeds = ", ".join(
            f"{name} up to {speed.mm_per_min:.0f} mm/min"
            for (_, name), speed in zip(_DOTS, dots, strict=True)
        )
        if profile.is_measured:
            sentence = f"Measured. Dots of {DOT_MM:g} mm: {speeds}."
        else:
            is_quick = facts.firmware is THIRTY_TWO_BIT
            sentence = f"{_ASSUMED if is_quick else _UNMEASURED} Dots of {DOT_MM:g} mm: {speeds}."
        costs = profile.costs
        return ControllerSpeeds(
            is_measured=profile.is_measured,
            sentence=sentence,
            dots=dots,
            planner_blocks=profile.planner_blocks,
            line_ms=round((costs.read_s + costs.answer_s + costs.level_segment_s) * 1000, 3),
        )


def _assumed(facts: Facts) -> ControllerProfile:
    profile = (
        controller_profile.THIRTY_TWO_BIT
        if facts.firmware is THIRTY_TWO_BIT
        else controller_profile.EIGHT_BIT
    )
    if facts.build is None:
        return profile
    return replace(
        profile,
        planner_blocks=facts.build.planner_blocks,
        receive_bytes=facts.build.receive_bytes,
    )


def _axis_of(facts: Facts) -> Axis | None:
    numbers = [facts.settings.number(setting) for setting in (120, 100, 110)]
    if not all(numbers):
        return None
    acceleration, steps, feed = (float(number or 0.0) for number in numbers)
    return Axis(acceleration_mm_per_s2=acceleration, steps_per_mm=steps, max_feed_mm_per_min=feed)


def _identity(facts: Facts) -> list[object]:
    """Return what another controller, or this one set differently, would not share."""
    settings = [facts.settings.number(setting) for setting in _SETTINGS]
    build = None if facts.build is None else [facts.build.planner_blocks, facts.build.receive_bytes]
    return [facts.firmware.name if facts.firmware else None, facts.version, build, settings]
