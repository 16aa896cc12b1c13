"""What can be wrong with a configuration, each with its name."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from etchwire.errors import WireError


class Reason(StrEnum):
    """Why a configuration is refused."""

    UNREADABLE = "the file cannot be read"
    ABSENT = "there is no such file"
    NO_FILE = "something else than a file"
    FORBIDDEN = "the file may not be read"
    TOO_LONG = "the file is too long"
    EMPTY = "the file is empty"
    NOT_TEXT = "the file is not text"
    NOT_TOML = "the file is not TOML"
    UNKNOWN_NAME = "unknown name"
    MISSING = "missing"
    UNFIT_FILE_NAMED = "a file it names cannot be used"
    NOT_A_TABLE = "not a table"
    WRONG_KIND = "wrong kind of value"
    OUT_OF_RANGE = "out of range"
    NO_PIN = "no pin"
    NO_CHIP = "no chip"
    PIN_TWICE = "a pin used twice"
    NORMALLY_OPEN = "normally open"
    SECOND_LID_ALONE = "second lid contact without the first"
    HALF_A_WINDOW = "half of a pressure window"
    TWO_PROOFS_OF_AIR = "two ways to show air flow"
    RULE_REMOVED = "a rule removed"
    DELAY_NOT_ALLOWED = "a delay where none is allowed"
    NO_REASON = "a change without its reason"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, where it stands, and what to do about it."""

    reason: Reason
    where: str
    sentence: str


class FaultyConfiguration(WireError, ValueError):
    """A configuration is refused; `faults` names everything that is wrong with it.

    `is_lasting`: nothing but a person changes that. A card that is hard to read may be read again.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        said = "\n".join(f"  {fault.where}: {fault.sentence}" for fault in self.faults)
        super().__init__(f"The configuration cannot be used:\n{said}")

    @property
    def is_lasting(self) -> bool:
        """Whether trying again is of no use."""
        return all(fault.reason is not Reason.UNREADABLE for fault in self.faults)
