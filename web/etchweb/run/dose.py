"""A shade darker or lighter while an etch runs, said in what it does to speed and power: pure.

A shade is five hundredths of the recipe's burn strength; `etchwire.catalogue.dose` has the formula.
"""

from typing import Final

from etchweb.text.formatting import counted, grouped, percent
from etchweb.text.view import View
from etchwire.calls.snapshot import JobView, RunView
from etchwire.catalogue.dose import DARKEST_PERCENT, LIGHTEST_PERCENT, feed_percent

SHADE_PERCENT: Final = 5
AS_THE_RECIPE: Final = 100

NO_SHADES: Final[View] = {
    "shade": AS_THE_RECIPE,
    "shade_words": "",
    "darker": AS_THE_RECIPE,
    "darker_words": "",
    "lighter": AS_THE_RECIPE,
    "lighter_words": "",
}


def shades_part(job: JobView, run: RunView) -> View:
    """Return the page's entries about shades; a test card has none, nor a run that has ended."""
    if run.ended or job.card is not None:
        return {}
    now = run.power_percent
    darker, lighter = _stepped(now, SHADE_PERCENT), _stepped(now, -SHADE_PERCENT)
    return {
        "shade": now,
        "shade_words": _shade_words(job, now),
        "darker": darker,
        "darker_words": "" if darker == now else _what_it_does(job, now, darker),
        "lighter": lighter,
        "lighter_words": "" if lighter == now else _what_it_does(job, now, lighter),
    }


def _stepped(now_percent: int, by_percent: int) -> int:
    return min(max(now_percent + by_percent, LIGHTEST_PERCENT), DARKEST_PERCENT)


def _shade_words(job: JobView, now: int) -> str:
    if now == AS_THE_RECIPE:
        return "As the recipe asks."
    shades = round(abs(now - AS_THE_RECIPE) / SHADE_PERCENT) or 1
    which = "darker" if now > AS_THE_RECIPE else "lighter"
    power, feed = _settings(job, now)
    return (
        f"{counted(shades, 'shade', 'shades')} {which} than the recipe: "
        f"{percent(power)} % power at {grouped(feed)} mm/min."
    )


def _what_it_does(job: JobView, now: int, wanted: int) -> str:
    (power, feed), (power_now, feed_now) = _settings(job, wanted), _settings(job, now)
    return f"{_power_words(power_now, power)}, {_feed_words(feed_now, feed)}."


def _power_words(now: float, wanted: float) -> str:
    if percent(now) == percent(wanted):
        return f"Power stays at {percent(now)} %"
    return f"Power {percent(now)} % → {percent(wanted)} %"


def _feed_words(now: float, wanted: float) -> str:
    if round(now) == round(wanted):
        return "speed as it is"
    return f"speed {grouped(now)} → {grouped(wanted)} mm/min"


def _settings(job: JobView, strength_percent: int) -> tuple[float, float]:
    """Return the power at full speed, as a ratio, and the speed in mm/min."""
    feed_ratio = feed_percent(job.power_ratio, strength_percent) / 100
    power_ratio = job.power_ratio * strength_percent / 100 * feed_ratio
    return min(power_ratio, 1.0), job.feed_mm_per_min * feed_ratio
