"""The controller's settings that matter to a laser, each with what it means here.

They are read by asking the controller for all of its settings, and never written: whoever sets
a machine up changes them there.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from etchdaemon.controller.facts import Facts, refusals, warnings
from etchdaemon.controller.settings import Settings
from etchwire.calls.machine import ControllerSettings, ControllerSpeeds, SettingView

UNKNOWN_SPEEDS: Final = ControllerSpeeds(is_measured=False, sentence="", dots=())
NOT_SAID: Final = "The controller does not say."


@dataclass(frozen=True, slots=True)
class Matter:
    """One thing that matters, the settings that decide it, and the sentence for each case."""

    name: str
    numbers: tuple[int, ...]
    unit: str
    sentence: Callable[[Settings], str]
    is_good: Callable[[Settings], bool] = lambda _settings: True


def _whether(test: Callable[[Settings], bool], yes: str, no: str) -> Callable[[Settings], str]:
    return lambda settings: yes if test(settings) else no


def _is_on(number: int) -> Callable[[Settings], bool]:
    return lambda settings: bool(settings.number(number))


MATTERS: Final = (
    Matter(
        "laser mode",
        (32,),
        "",
        _whether(
            lambda settings: settings.is_laser_mode,
            "The beam goes dark whenever the head does not move as it is told.",
            "The beam would burn on where the head stands still. Nothing starts like this.",
        ),
        lambda settings: settings.is_laser_mode,
    ),
    Matter(
        "full power",
        (30,),
        "",
        lambda _settings: (
            "The power word that means all the laser has; the laser's file must agree."
        ),
        lambda settings: (settings.max_s or 0) > 0,
    ),
    Matter(
        "motors at rest",
        (1,),
        "ms",
        _whether(
            lambda settings: settings.releases_motors_at_rest,
            "The motors let go so long after every move, and the head may slip between rows.",
            "The motors hold the head wherever it rests.",
        ),
        lambda settings: not settings.releases_motors_at_rest,
    ),
    Matter(
        "units of reports",
        (13,),
        "",
        _whether(
            lambda settings: settings.is_in_inches,
            "Reports come in inches. Nothing starts like this.",
            "Reports come in millimetres.",
        ),
        lambda settings: not settings.is_in_inches,
    ),
    Matter(
        "what reports hold",
        (10,),
        "",
        _whether(
            lambda settings: settings.reports_buffers,
            "Reports say how full the planner is, so stutter is seen and counted.",
            "Reports leave the planner out, so stutter cannot be counted.",
        ),
        lambda settings: settings.reports_buffers,
    ),
    Matter(
        "homing",
        (22,),
        "",
        _whether(
            lambda settings: settings.can_home,
            "The machine has switches: after power-up it is locked until it is homed or unlocked."
            " Homed, it can take its last origin again.",
            "The machine has no switches: after power-up it counts from wherever the head stands,"
            " and the origin that it kept is another place. Set the origin again.",
        ),
    ),
    Matter(
        "soft limits",
        (20,),
        "",
        _whether(
            _is_on(20),
            "The controller stops with an alarm before it leaves its travel, once it was homed.",
            "The controller does not know the ends of its travel; this program holds every job and"
            " every move against it.",
        ),
        lambda settings: settings.can_home or not settings.number(20),
    ),
    Matter(
        "hard limits",
        (21,),
        "",
        _whether(
            _is_on(21),
            "A limit switch that is run onto stops the machine with an alarm, and its place is"
            " lost.",
            "Limit switches stop nothing outside homing.",
        ),
    ),
    Matter(
        "greatest speed",
        (110, 111),
        "mm/min",
        lambda _settings: "Along x and along y; what asks for more is clipped without a word.",
    ),
    Matter(
        "acceleration",
        (120, 121),
        "mm/s²",
        lambda _settings: "Along x and along y; it decides how long the run-ups are.",
    ),
    Matter("travel", (130, 131), "mm", lambda _settings: "How far the head goes along x and y."),
)


def settings_of(
    facts: Facts | None, speeds: ControllerSpeeds = UNKNOWN_SPEEDS
) -> ControllerSettings:
    """Return what matters of a controller known by `facts`, and its `speeds`.

    `is_read` tells whether it could be asked at all; `warnings` are about what may etch all the
    same, `refusals` about what may not.
    """
    questioned = facts if facts is not None and facts.was_questioned else None
    return ControllerSettings(
        is_read=questioned is not None,
        firmware=questioned.firmware.name
        if questioned is not None and questioned.firmware
        else None,
        version="" if questioned is None else questioned.version,
        settings=()
        if questioned is None
        else tuple(_view(one, questioned.settings) for one in MATTERS),
        refusals=() if facts is None else tuple(refusals(facts)),
        warnings=() if facts is None else tuple(warnings(facts)),
        controller=speeds,
    )


def _view(matter: Matter, settings: Settings) -> SettingView:
    values = tuple(settings.values.get(number) for number in matter.numbers)
    is_said = all(value is not None for value in values)
    return SettingView(
        name=matter.name,
        numbers=matter.numbers,
        values=values,
        unit=matter.unit,
        is_good=is_said and matter.is_good(settings),
        sentence=matter.sentence(settings) if is_said else NOT_SAID,
    )
