"""What the child process found in a draft's photo and made of it, as it leaves it in files."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFacts:
    """What the child found in the photo as it came, before any turn."""

    width_px: int
    height_px: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFinding:
    """What a person should know of the job before etching it."""

    name: str
    sentence: str
    must_be_read: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnTile:
    """What is known of the tile that was drawn to scale; `of` is the draft's `found_key` then."""

    of: str
    px_per_mm: float
    size_px: tuple[int, int]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeTile:
    """One tile of a mural: its number, from the top left, and its job, a folder of JOB_FOLDER."""

    number: int
    job: str
    predicted_s: float
    gcode_sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeJob:
    """What is known of the job that was made; `of` is the draft's `found_key` then.

    `burnt` is the share of the area; places are (x, y) of lower left corners, `reach_mm` is left,
    bottom, right and top of everywhere that the head goes. Of a mural, dots and time are those of
    all its `tiles`; size, place and reach those of any one.
    """

    of: str
    findings: tuple[JobFinding, ...]
    burnt: float
    predicted_s: float
    columns: int
    rows: int
    size_mm: tuple[float, float]
    at_mm: tuple[float, float]
    reach_mm: tuple[float, float, float, float]
    gcode_sha256: str
    tiles: tuple[MadeTile, ...] = ()
