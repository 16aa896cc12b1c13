"""Whether a job suits the controller that is to run it: by its settings, not by belief."""

from math import inf

from etchdaemon.controller.facts import Facts
from etchwire.bed import Bed
from etchwire.sheet import Sheet

_OTHER_HEAD = "Choose the right laser, or prepare the picture again."


def objections(sheet: Sheet, facts: Facts) -> tuple[str, ...]:
    """Return why the controller described by `facts` must not run the job of `sheet`."""
    settings, head, feed = facts.settings, sheet.head, sheet.recipe.feed_mm_per_min
    found = []
    if settings.max_s is not None and settings.max_s != head.max_s:
        found.append(
            f"The job counts power up to {head.max_s:g}, the controller up to"
            f" {settings.max_s:g} (its setting 30), so the power would be wrong. {_OTHER_HEAD}"
        )
    if settings.max_feed_mm_per_min is not None and feed > settings.max_feed_mm_per_min:
        found.append(
            f"The job wants {feed:g} mm/min but the machine is set to at most"
            f" {settings.max_feed_mm_per_min:g} (setting 110). {_OTHER_HEAD}"
        )
    x_mm, y_mm = (travel_mm or inf for travel_mm in settings.travel_mm)
    outside = Bed.unhomed(x_mm, y_mm).objection(sheet.motion)
    return (*found, outside) if outside is not None else tuple(found)
