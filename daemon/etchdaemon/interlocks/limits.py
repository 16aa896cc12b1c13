"""How soon a contact has to follow, and for how long a reading counts, in the wall's seconds."""

from dataclasses import dataclass
from typing import Final

# How long the heartbeat's monostable holds its contact after a beat, at the shortest and longest.
MONOSTABLE_S: Final = (0.25, 0.4)

# The fan runs on by itself only after so long without a heartbeat: no test must start that.
FAN_RUNS_ON_AFTER_S: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Part of how a box is built, so no file changes them; the practice machine's box has the same.

    A reading is taken every 10 ms, and a relay follows within some ten milliseconds (its data
    sheet says); the heartbeat's contact outlasts its last beat by `MONOSTABLE_S`.
    """

    contact_s: float = 0.1
    heartbeat_opens_within_s: float = MONOSTABLE_S[1] + 0.1
    stale_after_s: float = 0.25
    loop_fresh_s: float = 0.08  # so that the heartbeat stops within 100 ms of a blocked loop
