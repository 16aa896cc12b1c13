"""The figures of an etch as it stands: time, speed and power, each with the words beside it."""

from typing import Final

from etchweb.text.formatting import grouped, percent, short_duration
from etchweb.text.view import View
from etchwire.calls.snapshot import JobView, RunView

# Closer than this to the recipe counts as what the recipe asks: the controller rounds and samples.
AS_ASKED_SHARE: Final = 0.97
PAST_THE_RECIPE: Final = 1.03  # only a move without beam is faster than the recipe
NOT_MEASURED: Final = "waiting for a reading"
BETWEEN_DOTS: Final = "between dots"
OF_THE_CARD: Final = "each patch has its own"
FOLLOWS: Final = "it follows the speed, so the burn stays even"

# These stay as they were while the head is between dots: a figure that jumps tells nobody anything.
ACTUALS: Final = ("speed", "speed_words", "power", "power_words")


def time_figures(run: RunView, is_at_rest: bool, time_factor: float) -> View:
    """Return the time left, in the machine's time and in yours, and when it will be over."""
    if run.ended or run.remaining_s is None:
        return {}
    yours = short_duration(run.remaining_s / time_factor)
    return {
        "left": short_duration(run.remaining_s),
        "left_words": "" if time_factor == 1 else f"{yours} real time",
        "ends_at": "" if is_at_rest else run.ends_at_utc or "",
    }


def speed_figures(job: JobView, run: RunView, is_at_rest: bool) -> View:
    """Return the speed now against the recipe's, and why it differs where that is known."""
    now = run.feed_mm_per_min
    if is_at_rest:
        return {"speed": "0", "speed_words": "at rest"}
    if now is None:
        return {"speed_words": NOT_MEASURED}
    return {"speed": grouped(now), "speed_words": _speed_words(now, job, run)}


def _speed_words(now: float, job: JobView, run: RunView) -> str:
    if job.card is not None:
        return BETWEEN_DOTS if run.power_ratio == 0 else OF_THE_CARD
    asked, power_ratio = job.feed_mm_per_min * run.feed_percent / 100, run.power_ratio
    if now > asked * PAST_THE_RECIPE:
        return "crossing a white stretch"
    if now >= asked * AS_ASKED_SHARE:
        return _as_asked(run.feed_percent)
    # Slower with the beam off says nothing about the detail: the head may be turning.
    return BETWEEN_DOTS if power_ratio == 0 else "the detail holds it back"


def power_figures(job: JobView, run: RunView, is_at_rest: bool) -> View:
    """Return the power now against the recipe's."""
    now = run.power_ratio
    asked = job.power_ratio * run.power_percent * run.feed_percent / 10_000
    if is_at_rest:
        return {"power": "0", "power_words": "beam off"}
    if now is None:
        return {"power_words": NOT_MEASURED}
    if now == 0:
        return {"power": "0", "power_words": BETWEEN_DOTS, "is_between_dots": True}
    watts = "" if run.power_w is None else f"{run.power_w:.1f} W, "
    if job.card is not None:
        return {"power": percent(now), "power_words": watts + OF_THE_CARD}
    is_as_asked = now >= asked * AS_ASKED_SHARE
    reason = _as_asked(run.power_percent) if is_as_asked else FOLLOWS
    return {"power": percent(now), "power_words": watts + reason}


def _as_asked(percent_of_recipe: int) -> str:
    return "as the recipe asks" if percent_of_recipe == 100 else "as you asked"
