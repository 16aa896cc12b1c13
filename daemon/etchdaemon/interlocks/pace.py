"""How the machine's time runs beside the wall's, for what lives on the wall's."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How many times as long, in the machine's seconds, something may take.

    On a real machine there is one time. The practice machine's runs faster, the computer beside
    it does much else, and its wires are sockets.
    """

    readings: float = 1.0  # before they count as stale
    contacts: float = 1.0  # to follow what they were told
    people: float = 1.0  # to come to the machine, to start, to answer


REAL_PACE = Pace()
