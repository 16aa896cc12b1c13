"""The two controller firmwares the practice machine can be: what differs, as a table."""

from dataclasses import dataclass, field
from typing import Final

HOLD: Final = 0x21  # !
REPORT: Final = 0x3F  # ?
START: Final = 0x7E  # ~
RESET: Final = 0x18
DOOR: Final = 0x84
JOG_CANCEL: Final = 0x85
SPINDLE_STOP: Final = 0x9E
FLOOD: Final = 0xA0
STOP: Final = 0x19

FEED_STEPS_PERCENT: Final = {0x90: None, 0x91: 10, 0x92: -10, 0x93: 1, 0x94: -1}
RAPIDS_PERCENT: Final = {0x95: 100, 0x96: 50, 0x97: 25}
POWER_STEPS_PERCENT: Final = {0x99: None, 0x9A: 10, 0x9B: -10, 0x9C: 1, 0x9D: -1}

SETTINGS_8_BIT: Final[dict[int, float]] = {
    0: 10, 1: 255, 2: 0, 3: 0, 4: 0, 5: 0, 6: 0, 10: 3, 11: 0.01, 12: 0.002, 13: 0,
    20: 0, 21: 0, 22: 0, 23: 3, 24: 300, 25: 3000, 26: 250, 27: 1, 30: 1000, 31: 0, 32: 1,
    100: 80, 101: 80, 102: 80, 110: 10000, 111: 10000, 112: 1000,
    120: 1000, 121: 1000, 122: 200, 130: 400, 131: 400, 132: 80,
}  # fmt: skip

SETTINGS_32_BIT: Final[dict[int, float]] = SETTINGS_8_BIT | {10: 511, 63: 3, 398: 100}


@dataclass(frozen=True, slots=True, kw_only=True)
class Firmware:
    """One firmware's sizes, texts and habits; facts from its sources and host builds."""

    name: str
    greeting: str
    build: tuple[str, ...]
    settings: dict[int, float] = field(repr=False)
    receive_bytes: int
    send_bytes: int
    planner_blocks: int
    segments: int = 5
    line_characters: int = 79
    has_raw_line_limit: bool = False  # blanks and comments count in the limit
    pairs_line_ends: bool = False  # CR LF is one line end, not two
    has_sticky_errors: bool = False
    has_stale_hold_feed: bool = False
    jog_cancel_empties_ring: bool = False
    spares_comments: bool = False  # ? ! ~ inside comments and $ lines are plain bytes
    has_stop_byte: bool = False
    has_native_usb: bool = False  # opening the port does not reset it
    stops_at_m1: bool = False
    knows_m6: bool = False
    knows_percent: bool = False
    reports_beam_at_rest: bool = False  # A:C for M4 standing still, A: when it goes off
    exponent_error: int = 20
    power_levels: int = 255
    alarm_wait_s: float = 0.535  # from ALARM to the greeting; 0.5 by the source, 0.54 measured
    setting_write_s: float = 0.336
    offset_write_s: float = 0.049
    aliases: dict[int, int] = field(default_factory=dict)


EIGHT_BIT: Final = Firmware(
    name="8-bit",
    greeting="Grbl 1.1h ['$' for help]",
    build=("[VER:1.1h.20190830:]", "[OPT:V,15,128]"),
    settings=SETTINGS_8_BIT,
    receive_bytes=128,
    send_bytes=104,
    planner_blocks=15,
)

THIRTY_TWO_BIT: Final = Firmware(
    name="32-bit",
    greeting="GrblHAL 1.1f ['$' or '$HELP' for help]",
    build=(
        "[VER:1.1f.20240812:]",
        "[OPT:VNML+,100,1024,3,0]",
        "[AXS:3:XYZ]",
        "[NEWOPT:ENUMS,RT+,ES]",
        "[FIRMWARE:grblHAL]",
        "[SIGNALS:HSEP]",
        "[DRIVER:practice]",
    ),
    settings=SETTINGS_32_BIT,
    receive_bytes=1023,
    send_bytes=512,
    planner_blocks=100,
    segments=10,
    line_characters=256,
    has_raw_line_limit=True,
    pairs_line_ends=True,
    has_sticky_errors=True,
    has_stale_hold_feed=True,
    jog_cancel_empties_ring=True,
    spares_comments=True,
    has_stop_byte=True,
    has_native_usb=True,
    stops_at_m1=True,
    knows_m6=True,
    knows_percent=True,
    reports_beam_at_rest=True,
    exponent_error=36,
    power_levels=4095,
    alarm_wait_s=0.097,
    setting_write_s=0.002,
    offset_write_s=0.002,
    aliases={0x80: REPORT, 0x81: START, 0x82: HOLD, 0x87: REPORT, 0x05: REPORT, 0x03: RESET},
)

FIRMWARES: Final = {firmware.name: firmware for firmware in (EIGHT_BIT, THIRTY_TWO_BIT)}
