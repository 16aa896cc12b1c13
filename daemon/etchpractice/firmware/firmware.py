"""The two controller firmwares the practice machine can be: what differs, as a table."""

from dataclasses import dataclass, field
from typing import Final

from etchpractice.firmware import factory
from etchwire.controller import profile as controller_profile
from etchwire.controller.profile import LineCosts

HOLD: Final = 0x21  # !
REPORT: Final = 0x3F  # ?
START: Final = 0x7E  # ~
RESET: Final = 0x18
DOOR: Final = 0x84
JOG_CANCEL: Final = 0x85
SPINDLE_STOP: Final = 0x9E
FLOOD: Final = 0xA0
MIST: Final = 0xA1
FULL_REPORT: Final = 0x87
SLEEP: Final = 0x100  # no byte: what `$SLP` leaves for the main loop to do after its ok
STOP: Final = 0x19

FEED_STEPS_PERCENT: Final = {0x90: None, 0x91: 10, 0x92: -10, 0x93: 1, 0x94: -1}
RAPIDS_PERCENT: Final = {0x95: 100, 0x96: 50, 0x97: 25}
POWER_STEPS_PERCENT: Final = {0x99: None, 0x9A: 10, 0x9B: -10, 0x9C: 1, 0x9D: -1}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Firmware:
    """One firmware's sizes, texts and habits; facts from its sources and host builds."""

    name: str
    greeting: str
    build: tuple[str, ...]
    help: str
    factory: dict[int, str] = field(repr=False)  # the settings, as listed
    receive_bytes: int
    send_bytes: int
    planner_blocks: int
    costs: LineCosts = field(repr=False)
    segments: int = 5
    power_levels: int = 255
    homing_cycles: tuple[tuple[int, ...], ...] = ((0, 1),)  # axes homed together, in order
    has_native_usb: bool = False  # opening the port does not reset it

    # Lines and words
    line_characters: int = 79
    has_raw_line_limit: bool = False  # blanks and comments count in the limit
    misreads_longest_line: bool = False  # error 21 for a line that just fits
    pairs_line_ends: bool = False  # CR LF is one line end, not two
    dropped_characters: str = "/"  # block delete is not known: the rest of the line runs
    counts_leading_zeros: bool = True  # among the eight digits of a number that are used
    highest_line_number: int = 10_000_000
    extra_codes: dict[str, dict[int, str]] = field(default_factory=dict)  # groups by letter
    extra_value_letters: str = ""
    systems: int = 6  # work coordinate systems
    offsets_every_axis: bool = False  # tool offsets, not of Z alone
    coolants: str = "F"
    has_sticky_errors: bool = False
    stops_at_m1: bool = False
    knows_m6: bool = False
    knows_percent: bool = False
    resets_overrides_at_end: bool = True  # M2 and M30 do

    # Settings
    unknown_setting_error: int = 3
    refuses_short_pulses: bool = True
    highest_settings: dict[int, float] = field(default_factory=dict)  # beyond: error 52
    switches: frozenset[int] = frozenset()  # any value but 0 is kept as 1
    keeps_note_as_typed: bool = False  # `$I=` does, small letters and blanks included

    # Reports and listings
    always_reported: int = 8 | 32 | 64  # bits of $10 that count as set: FS, WCO, Ov
    shows_overrides_first: bool = False  # before the work offset, after a reset
    reports_beam_at_rest: bool = False  # A:C for M4 standing still, A: when it goes off
    has_stale_hold_feed: bool = False
    restoring_step: int = 3  # Door: and this number
    tells_all_modes: bool = False

    # Real-time bytes, stops and resets
    has_more_real_time: bool = False  # bytes below 0x20 besides the reset
    has_stop_byte: bool = False
    jog_cancel_empties_ring: bool = False
    holds_jogs: bool = True  # a feed hold ends a jog
    ends_hold_with_message: bool = False  # an empty one
    limits_homed_axes_only: bool = False  # soft limits mean nothing before homing
    forgives_reset_in_hold: bool = False  # no alarm for a reset while braking
    answers_line_cut_off: bool = True  # ok for the line in work, before the greeting
    keeps_shift: bool = False  # G92 outlives a reset
    alarm_wait_s: float = 0.535  # from ALARM to the greeting; 0.5 by the source, 0.54 measured
    setting_write_s: float = 0.0004  # and for each byte that changes, of three at most:
    byte_write_s: float = 0.0034
    offset_write_s: float = 0.028
    is_deaf_while_writing: bool = True  # interrupts are off: what arrives is lost
    aliases: dict[int, int] = field(default_factory=dict)

    @property
    def settings(self) -> dict[int, float]:
        """The factory's settings by number."""
        return {number: float(text) for number, text in self.factory.items()}


EIGHT_BIT: Final = Firmware(
    name="8-bit",
    greeting="Grbl 1.1h ['$' for help]",
    build=("[VER:1.1h.20190830:{note}]", "[OPT:V,15,128]"),
    help="[HLP:$$ $# $G $I $N $x=val $Nx=line $J=line $SLP $C $X $H ~ ! ? ctrl-x]",
    factory=factory.listed(factory.EIGHT_BIT),
    receive_bytes=128,
    send_bytes=104,
    planner_blocks=15,
    switches=frozenset((13, 20, 21, 22, 32)),
    costs=controller_profile.EIGHT_BIT.costs,
)

THIRTY_TWO_BIT: Final = Firmware(
    name="32-bit",
    greeting="GrblHAL 1.1f ['$' or '$HELP' for help]",
    build=(
        "[VER:1.1f.20260817:{note}]",
        "[OPT:VNML+,100,1024,3,0]",
        "[AXS:3:XYZ]",
        "[NEWOPT:ENUMS,RT+,{lathe}TC,SED]",
        "[FIRMWARE:grblHAL]",
        "[SIGNALS:D]",
        "[NVS STORAGE:*EEPROM]",
        "[DRIVER:Simulator]",
        "[DRIVER VERSION:260324]",
    ),
    help="[HLP:$$ $# $G $I $N $x=val $Nx=line $J=line $SLP $C $X $H $B ~ ! ? ctrl-x]",
    factory=factory.listed(factory.THIRTY_TWO_BIT),
    receive_bytes=1023,
    send_bytes=512,
    planner_blocks=100,
    costs=controller_profile.THIRTY_TWO_BIT.costs,
    segments=10,
    line_characters=256,
    has_raw_line_limit=True,
    misreads_longest_line=True,
    counts_leading_zeros=False,
    dropped_characters=")\x7f",
    pairs_line_ends=True,
    has_sticky_errors=True,
    has_stale_hold_feed=True,
    jog_cancel_empties_ring=True,
    keeps_note_as_typed=True,
    holds_jogs=False,
    ends_hold_with_message=True,
    has_more_real_time=True,
    has_stop_byte=True,
    coolants="FM",
    has_native_usb=True,
    stops_at_m1=True,
    limits_homed_axes_only=True,
    knows_m6=True,
    knows_percent=True,
    shows_overrides_first=True,
    restoring_step=4,
    always_reported=0,
    reports_beam_at_rest=True,
    extra_codes={
        "G": {50: "motion", **dict.fromkeys((591, 592, 593), "offsets")},
        "M": {7: "coolant"},
    },
    extra_value_letters="EQ",
    systems=9,
    offsets_every_axis=True,
    tells_all_modes=True,
    forgives_reset_in_hold=True,
    answers_line_cut_off=False,
    keeps_shift=True,
    resets_overrides_at_end=False,
    unknown_setting_error=53,
    refuses_short_pulses=False,
    highest_settings={13: 1, 32: 2},
    power_levels=4095,
    alarm_wait_s=0.097,
    setting_write_s=0.002,
    byte_write_s=0.0,
    offset_write_s=0.002,
    is_deaf_while_writing=False,
    aliases={0x80: REPORT, 0x81: START, 0x82: HOLD, 0x05: REPORT, 0x03: RESET},
)

FIRMWARES: Final = {firmware.name: firmware for firmware in (EIGHT_BIT, THIRTY_TWO_BIT)}
