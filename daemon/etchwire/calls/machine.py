"""What may be asked of the machine: the loop answers, or the snapshot does."""

from typing import ClassVar, Final

from msgspec import UNSET, UnsetType

from etchwire.calls.call import Call, Done, DurationS, LengthMm, OpenFile, Question, WholeNumber
from etchwire.calls.interlock_report import WiringReport
from etchwire.calls.snapshot import AskedAtStart, Snapshot
from etchwire.transport.json_text import JsonTable
from etchwire.wire_value import WireValue

LOAD_PATIENCE_S: Final = 120.0  # a long job is copied to a slow card and hashed
REST_PATIENCE_S: Final = 330.0  # the daemon gives the child that writes a rest five minutes
NOT_MOVED: Final = "tile and head have not moved"
ORIGIN_AGAIN: Final = "origin set again"


class LoadedJob(WireValue):
    """The job that was taken; `sentence` tells where a re-entry will go on."""

    job_sha256: str
    sentence: str | UnsetType = UNSET


class CutView(WireValue):
    """Where the beam went out, in the job's coordinates; `is_whole`: before the row was begun."""

    row: int
    x_mm: float
    error_mm: float
    is_whole: bool
    from_left_mm: float


class RestView(WireValue):
    """How much would be left to etch, from `first_row` of the picture on."""

    first_row: int
    rows: int
    width_mm: float
    height_mm: float
    predicted_s: float


class NextTile(WireValue):
    """Of a run of several: the tile in `pocket`, from `row` on, if pocket `left_out` is."""

    left_out: int
    row: int
    pocket: int
    title: str


class UnfinishedRun(WireValue):
    """What may be taken up of a run that was cut short, and what is known of its cut.

    `either` are the places of which one is the cut; `gap_mm` is how much of another program's
    file stays unburnt. What belongs to a job that is kept no more is None.
    """

    run: int
    may: bool
    why_not: str | None
    ended: str | None
    because: str | None
    title: str
    picture_sha256: str
    is_place_kept: bool
    continued_by: int | None
    rows: int | None = None
    columns: int | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    line_spacing_mm: float | None = None
    gap_mm: float | None = None
    cut: CutView | None = None
    either: tuple[CutView, ...] = ()
    first_row: int | None = None
    is_row_known: bool = False
    known: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    across: str = ""
    rest: RestView | None = None
    next_tile: NextTile | None = None


class SettingView(WireValue):
    """One thing that matters to a laser, the controller's settings that tell it, and its sense."""

    name: str
    numbers: tuple[int, ...]
    values: tuple[str | None, ...]
    unit: str
    is_good: bool
    sentence: str


class DotSpeed(WireValue):
    """The highest speed at which a row of so many dots in turn runs as it is asked to."""

    dots: int
    mm_per_min: float


class ControllerSpeeds(WireValue):
    """How fast the controller takes in lines; UNSET as long as it does not say what it is."""

    is_measured: bool
    sentence: str
    dots: tuple[DotSpeed, ...]
    planner_blocks: int | UnsetType = UNSET
    line_ms: float | UnsetType = UNSET


class ControllerSettings(WireValue):
    """The controller's settings that matter; `refusals` are why nothing may etch like this."""

    is_read: bool
    firmware: str | None
    version: str
    settings: tuple[SettingView, ...]
    refusals: tuple[str, ...]
    warnings: tuple[str, ...]
    controller: ControllerSpeeds


class Status(Question[Snapshot]):
    """The snapshot: machine, job, run, and what may be asked now."""


class Subscribe(Question[Snapshot]):
    """The snapshot, then `status` notifications: at most four a second, at least one."""


class Load(Call[LoadedJob]):
    """Take a job: copy, hash and check it."""

    patience_s: ClassVar[float | None] = LOAD_PATIENCE_S

    gcode_fd: OpenFile
    sheet_fd: OpenFile


class Reenter(Call[LoadedJob]):
    """Load what is left of `run`.

    `confirm` is “tile and head have not moved” or “origin set again”, `row` the first that is
    not dark, by eye, where no cut was logged, or the one of two that it names; `accept_gap` that
    what stays unburnt of another program's file (`gap_mm` of `unfinished`) was read.
    """

    patience_s: ClassVar[float | None] = REST_PATIENCE_S

    run: WholeNumber
    confirm: str
    row: WholeNumber | None = None
    accept_gap: bool = False


class Unfinished(Question[UnfinishedRun]):
    """Whether `run` may be taken up again, what is known of its cut, and what is left of it.

    With `row`, what is left from there on, where a person sets the row by eye.
    """

    run: WholeNumber
    row: WholeNumber | None = None


class Unload(Call[Done]):
    """Put the job away."""


class Arm(Call[Done]):
    """Begin arming, with `answers` to the checklist by key.

    The loop is tested, then somebody shows at the machine that they are there.
    """

    answers: JsonTable
    test_heartbeat: bool = False
    acknowledge: tuple[str, ...] = ()


class Disarm(Call[Done]):
    """Undo arming."""


class Start(Call[Done]):
    """Begin to etch the job, once armed; `acknowledge` names kinds of findings that were read."""

    acknowledge_long_run: bool = False
    stays_until_end: str = ""
    acknowledge: tuple[str, ...] = ()


class Hold(Call[Done]):
    """Come to rest at the row's end; `who` asks, where the caller knows."""

    is_at_once: ClassVar[bool] = True

    who: str = ""


class HoldNow(Call[Done]):
    """Come to rest within the row; `who` asks, where the caller knows."""

    is_at_once: ClassVar[bool] = True

    who: str = ""


class Resume(Call[Done]):
    """Go on after a hold."""


class Reset(Call[Done]):
    """Reset the trips a person was shown, by `names`; nothing starts by that."""

    names: tuple[str, ...]


class AnswerRound(Call[Done]):
    """Say that somebody is within reach, or has looked after the end."""


class BedTouched(Call[Done]):
    """Ask the checklist's questions about the bed again."""


class SetFeed(Call[Done]):
    """Change the speed of the etch; the power follows it."""

    percent: WholeNumber


class SetPower(Call[Done]):
    """Change the power of the etch under way, in percent."""

    percent: WholeNumber


class SetDose(Call[Done]):
    """Change the burn strength in percent of the recipe's, by power and speed together."""

    percent: WholeNumber


class Home(Call[Done]):
    """Begin to home a machine that has switches for it."""


class Unlock(Call[Done]):
    """Unlock a controller that has locked itself."""


class SetOrigin(Call[Done]):
    """Take the head's place as the job's origin."""


class FindOrigin(Call[Done]):
    """Put the origin where it was before, by its machine coordinates; only after homing."""


class MoveTo(Call[Done]):
    """Begin to move the head, beam off, to a place in the job's coordinates."""

    x_mm: LengthMm
    y_mm: LengthMm


class MoveBy(Call[Done]):
    """Begin to move the head, beam off, by so much."""

    x_mm: LengthMm
    y_mm: LengthMm


class TraceOutline(Call[Done]):
    """Begin to take the head, beam off, once round what the job will etch."""

    with_run_ups: bool = False


class Measure(Call[Done]):
    """Begin to measure how fast the controller takes in lines.

    Some 30 s of moves along x, beam off, within 40 mm of where the head is.
    """


class Settings(Question[ControllerSettings]):
    """The controller's settings that matter, as it answered last, and what they mean."""


class Wiring(Question[WiringReport]):
    """Every input of the box as it is, every output as it was driven."""


class Confirmations(Question[AskedAtStart]):
    """What people would confirm if a job that lasts `lasts_s` of machine time started now."""

    lasts_s: DurationS


class TryOutput(Call[Done]):
    """Drive an output for a moment (withhold the heartbeat); never the beam's."""

    name: str
    on: bool = True


class Stop(Call[Done]):
    """End the run, and the beam goes out; or stop the head that moves.

    `who` asks, where the caller knows.
    """

    is_at_once: ClassVar[bool] = True

    who: str = ""


MACHINE_CALLS: Final = (
    Status, Subscribe, Load, Reenter, Unfinished, Unload, Arm, Disarm, Start, Hold, HoldNow, Resume,
    Reset, AnswerRound, BedTouched, SetFeed, SetPower, SetDose, Home, Unlock, SetOrigin, FindOrigin,
    MoveTo, MoveBy, TraceOutline, Measure, Settings, Wiring, Confirmations, TryOutput, Stop,
)  # fmt: skip
