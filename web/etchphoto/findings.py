"""What a person should know about a job before it is etched, short of refusing it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PhotoFinding:
    """One remark about an order.

    `name` is what a person acknowledges it by: it stays the same when the sentence's numbers
    change.
    """

    name: str
    sentence: str
    needs_acknowledgement: bool = False
