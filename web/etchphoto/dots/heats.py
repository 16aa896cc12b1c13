"""By how much a move may make it worse in each sweep of a search, on average, in L*² of one dot.

Annealing: so patterns are left that no single move makes better. More heat leaves photos as they
are and even greys grainy. All sweeps but the first aim aside by the whole model.
"""

from typing import Final, TypeAlias

Heats: TypeAlias = tuple[float, ...]

HEATS: Final[Heats] = (5.0, 2.5, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
# Where only what an eye sees to be wrong is told, with one decimal. On the small picture of `gain`
# the last three sweeps take off 0.005 to 0.025 L* (15 of the practice lasers' spacings and dots of
# 0.3 to 0.8 spread, 1.0 to 3.1 L* in all), 0.04 with the 20 W at its own 0.1 mm, and 0.08 to 0.12
# of 1.2 where it is far too fast for its controller, at 0.06 and 0.08 mm: a search is never praised
# for what it does not do.
TOLD_HEATS: Final[Heats] = HEATS[:6]
# After these the dots already take the time that they will take, within a hundredth.
ROUGH_HEATS: Final[Heats] = (5.0, 1.0, 0.0)
