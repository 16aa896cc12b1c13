"""The snapshot: what is shown of the machine, its job and its run, as one value."""

from msgspec import UNSET, UnsetType

from etchwire.bed import Bed
from etchwire.calls.interlock_report import InterlockReport
from etchwire.controller.profile import ControllerProfile
from etchwire.preflight_finding import FindingView
from etchwire.sheet import Bounds, CardSettings
from etchwire.wire_value import WireValue


class EarlierOrigin(WireValue):
    """An origin that can be taken again, in the machine's coordinates."""

    name: str
    x_mm: float
    y_mm: float


class OriginView(WireValue):
    """The job's origin; `sentence` is what a person is asked for while it is not known."""

    is_known: bool
    epoch: int
    sentence: str
    again: EarlierOrigin | None


class MachineView(WireValue):
    """The machine and its controller.

    `link` is how the connection stands, `position_mm` the head's place (x, y) in the job's
    coordinates, `moved` what came of the last move.
    """

    link: str
    sentence: str
    origin: OriginView
    firmware: str | None
    port: str
    is_practice: bool
    position_mm: tuple[float, float] | None
    controller_state: str | None
    controller: ControllerProfile | None
    bed: Bed | None
    is_moving: bool
    moved: str


class PreflightView(WireValue):
    """Whether the job may run: the gravest findings, and which kinds wait to be read."""

    verdict: str
    sentence: str
    to_acknowledge: tuple[str, ...]
    findings: tuple[FindingView, ...]
    findings_count: int


class TileView(WireValue):
    """The tile in work of a run of several: its pocket, the how-manieth it is, when it ends."""

    pocket: int
    title: str
    number: int
    tiles: int
    remaining_s: float | None
    ends_at_utc: str | None


class JobView(WireValue):
    """The job that is loaded.

    `rows_above` are the rows of the whole picture above it, `reach_mm` everywhere the head goes,
    `pointer_mm` where the pointer shines (x, y), seen from the beam's place. `card` are a test
    card's own settings; its dose cannot be changed. `pockets` are those of a job of several tiles,
    in the order of etching.
    """

    title: str
    sha256: str
    rows: int
    columns: int
    width_mm: float
    height_mm: float
    line_spacing_mm: float
    feed_mm_per_min: float
    power_ratio: float
    power_w: float
    dose_j_per_mm2: float
    predicted_s: float
    surface: str
    head: str
    tidied_lines: int
    preflight: PreflightView
    continues_run_id: int | None
    rows_above: int
    picture_sha256: str
    picture_mm: Bounds
    reach_mm: Bounds
    pointer_mm: tuple[float, float] | None
    card: CardSettings | None
    pockets: tuple[int, ...] = ()


class RunView(WireValue):
    """The run under way, or the one that ended last; `ended` is complete, stopped or failed.

    `why_not_resume` is what keeps a held run from being resumed at this moment, in a sentence;
    `late_end` that, resumed now, it or its last look would end after closing time.
    """

    id: int
    continues_run_id: int | None
    started_at_utc: str
    elapsed_s: float
    etched_rows: int
    row: int | None
    share: float
    remaining_s: float | None
    ends_at_utc: str | None
    feed_mm_per_min: float | None
    power_ratio: float | None
    power_w: float | None
    feed_percent: int
    power_percent: int
    held_because: str | None
    why_not_resume: str | None
    late_end: str | None
    ended: str | None
    because: str | None
    slow_rows: int
    tile: TileView | None = None


class UnfinishedView(WireValue):
    """The run that ended last, while it may be taken up again."""

    run: int
    title: str
    picture_sha256: str
    rows: int
    first_row: int
    is_place_kept: bool
    sentence: str


class AskedAtStart(WireValue):
    """What people confirm with a start now, in sentences; None: nothing. UNSET without a job."""

    long_run: str | UnsetType | None = UNSET
    stays: str | UnsetType | None = UNSET
    too_late: str | UnsetType | None = UNSET


class StorageView(WireValue):
    """Room and backups of the logbook; `low` is a sentence where room gets short."""

    free_bytes: int | None
    low: str | None
    last_backup_at_utc: str | None
    backup_trouble: str | None


class Snapshot(WireValue):
    """The daemon at one moment; `may` names the calls that make sense now.

    `time_factor` is how much faster than the wall the machine's time is meant to run.
    """

    sequence: int
    at_utc: str
    state: str
    sentence: str
    may: tuple[str, ...]
    machine: MachineView
    job: JobView | None
    asked_at_start: AskedAtStart
    run: RunView | None
    unfinished: UnfinishedView | None
    interlocks: InterlockReport
    logbook_trouble: str | None
    storage: StorageView
    time_factor: float

    @property
    def troubles(self) -> tuple[str, ...]:
        """What is wrong with board, logbook and storage, a sentence each."""
        told = (
            self.interlocks.board_trouble,
            self.logbook_trouble,
            self.storage.low,
            self.storage.backup_trouble,
        )
        return tuple(sentence for sentence in told if sentence)
