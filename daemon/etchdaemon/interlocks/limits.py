"""How soon a contact has to follow, and for how long a reading counts, in the wall's seconds.

Part of how a box is built, so no file changes them; the practice machine's box has the same.
"""

from typing import Final

CONTACT_S: Final = 0.1  # a relay follows within some ten milliseconds, its data sheet says
STALE_AFTER_S: Final = 0.25  # a reading is taken every 10 ms
LOOP_FRESH_S: Final = 0.08  # so that the heartbeat stops within 100 ms of a blocked loop

# How long the heartbeat's monostable holds its contact after a beat, at the shortest and longest.
MONOSTABLE_S: Final = (0.25, 0.4)
HEARTBEAT_OPENS_WITHIN_S: Final = MONOSTABLE_S[1] + 0.1

# The fan runs on by itself only after so long without a heartbeat: no test must start that.
FAN_RUNS_ON_AFTER_S: Final = 2.0
