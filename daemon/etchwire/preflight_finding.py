"""What a preflight finds: written by the child that reads the file, shown by daemon and page."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingView:
    """One kind of thing found; `line` is the first of `count`, None for the whole file."""

    kind: str
    severity: str
    line: int | None
    count: int
    text: str
    reason: str
    fix: str
