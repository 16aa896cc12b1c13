"""How soon a contact has to follow, and how long a reading counts, in wall-clock seconds.

They belong to the construction of a box, so no file changes them; the practice box has the same,
but for the age of a reading where its time is hurried.
"""

from typing import Final

CONTACT_S: Final = 0.1  # a relay follows within some ten milliseconds, its data sheet says
STALE_AFTER_S: Final = 0.25  # a reading is taken every 10 ms
LOOP_FRESH_S: Final = 0.08  # so that the heartbeat stops within 100 ms of a blocked loop

# The shortest and longest time that the heartbeat's monostable holds its contact after a beat.
MONOSTABLE_S: Final = (0.25, 0.4)
HEARTBEAT_OPENS_WITHIN_S: Final = MONOSTABLE_S[1] + 0.1

# Without a heartbeat for this long the fan runs on by itself, which no test may start.
FAN_RUNS_ON_AFTER_S: Final = 2.0
