"""Two clocks, never mixed: wall-clock time and machine time.

Contacts, people and the age of a reading have wall-clock time, motion has machine time. On a real
machine both count the same seconds; on the practice machine the second runs faster and waits for
the host. They are two types, so that a type checker refuses one for the other.
"""

from dataclasses import dataclass
from typing import NewType

WallSeconds = NewType("WallSeconds", float)
MachineSeconds = NewType("MachineSeconds", float)


@dataclass(frozen=True, slots=True)
class Edge:
    """When a contact opened: for the interlocks, and for the place at which the beam went out."""

    wall_s: WallSeconds
    machine_s: MachineSeconds
