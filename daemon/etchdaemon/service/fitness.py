"""Whether a job suits the controller that is to run it: by its settings, not by belief."""

from etchdaemon.controller.facts import Facts
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
    wanted_mm = (
        sheet.motion.right_mm - sheet.motion.left_mm,
        sheet.motion.top_mm - sheet.motion.bottom_mm,
    )
    for axis, want_mm, have_mm in zip("xy", wanted_mm, settings.travel_mm, strict=True):
        if have_mm is not None and want_mm > have_mm:
            found.append(
                f"The job moves {want_mm:.1f} mm along {axis}, but the machine has"
                f" {have_mm:g} mm. Make the picture smaller."
            )
    return tuple(found)
