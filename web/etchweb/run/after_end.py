"""After an etch that came to its end: how long the tile cools, and how it is wiped; pure.

Usual cautions, common practice, no source; the label of the solvent and local rules come first.
"""

from datetime import datetime, timedelta
from typing import Final

from etchweb.run.cautions import Caution
from etchweb.text.view import View

COOLING_S: Final = 600  # common practice, no source: the hand in the steps is what counts
WIPING: Final = (
    Caution(
        "Outside the box, away from flames.",
        "Hold the back of your hand near the tile: where you feel warmth, wait longer. "
        "Solvent vapour can catch fire at a hot tile or laser.",
    ),
    Caution("Gloves and eyewear on.", "Gloves must stand the solvent you use; its label says so."),
    Caution("Fresh air.", "Window open or outdoors, nobody smoking, no heater running."),
    Caution(
        "Wipe with a damp cloth.",
        "Use as little solvent as takes the paint off. Never pour it on the tile.",
    ),
    Caution(
        "Cloths into a closed metal tin.",
        "Soaked cloths give off vapour and some catch fire by themselves. Keep the tin outdoors.",
    ),
)


def cooling_part(ended_at_utc: str | None, now: datetime) -> View:
    """Return when a tile that was etched until `ended_at_utc` is cool, and how long that still is.

    The whole time where the end is not known, or where a clock that jumped would say less than
    nothing or more than all.
    """
    left_s = float(COOLING_S)
    if ended_at_utc:
        gone_s = (now - datetime.fromisoformat(ended_at_utc)).total_seconds()
        left_s = min(max(COOLING_S - gone_s, 0.0), left_s)
    cool_at = now + timedelta(seconds=left_s)
    return {"cool_at": cool_at.isoformat(timespec="seconds"), "cool_left_s": round(left_s)}
