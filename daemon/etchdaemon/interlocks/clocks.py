"""Two clocks that never meet: the wall's, and the machine's.

Contacts, people and the age of a reading live on the wall's clock, motion lives on the machine's.
On a real machine both count the same seconds; on the practice machine the second one runs faster
and waits for the host. They are two types, so that a type checker refuses one for the other.
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
