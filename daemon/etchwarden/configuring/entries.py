"""What may stand in a machine's file, in the order of the file, each with its explanation."""

from dataclasses import dataclass
from enum import Enum
from typing import Final


class AnswerKind(Enum):
    """What kind of answer an entry takes."""

    TEXT = "text"
    NUMBER = "number"
    YES = "yes or no"
    PIN = "pin"


@dataclass(frozen=True, slots=True, kw_only=True)
class FileEntry:
    """One line of the file.

    `question`: what is asked for it; without one it stands as a comment, for the owner to take
    up. `example` is what the comment shows, and `default` what an empty answer means. The word
    `put_off`, where there is one, leaves the entry for later.
    """

    name: str
    says: str
    example: str
    question: str = ""
    kind: AnswerKind = AnswerKind.TEXT
    default: str | None = None
    put_off: str = ""

    def is_left_out_by(self, typed: str) -> bool:
        """Whether this answer leaves the entry out of the file."""
        if typed == "":
            return self.default == ""
        return typed.lower() == self.put_off


@dataclass(frozen=True, slots=True, kw_only=True)
class FileSection:
    """One table of the file. `is_whole`: without an answer to its first entry it is left out."""

    name: str
    says: str
    entries: tuple[FileEntry, ...]
    is_whole: bool = False


def _input(name: str, question: str, pin: int) -> FileEntry:
    return FileEntry(
        name=name,
        says="",
        example=f"{{pin = {pin}}}",
        question=question,
        kind=AnswerKind.PIN,
        default="",
    )


def _figure(name: str, says: str, example: str, question: str) -> FileEntry:
    return FileEntry(
        name=name, says=says, example=example, question=question, kind=AnswerKind.NUMBER
    )


SECTIONS: Final = (
    FileSection(
        name="machine",
        says="",
        entries=(
            FileEntry(
                name="port",
                says="The serial port, by the adapter's own name (or, where it has none, by its\n"
                "place): a number such as ttyUSB0 may be another machine's tomorrow.\n"
                "Until it is named here and the daemon started anew, the daemon only waits.",
                example='"/dev/serial/by-id/usb-EXAMPLE"',
                question="Which serial port is the machine on? (or: later)",
                put_off="later",
            ),
        ),
    ),
    FileSection(
        name="head",
        says="The laser. It is also what `--head THIS-FILE` means to the other commands.",
        is_whole=True,
        entries=(
            FileEntry(name="name", says="What it is called in records.", example='"ten watts"',
                  question="What is the laser called? (empty: describe it later)", default=""),
            _figure("rated_optical_w", "Optical watts, not those it takes from the wall.", "10.0",
                    "How many optical watts does it have?"),
            _figure("spot_x_mm", "The spot along the rows, in mm.", "0.08",
                    "How wide is its spot along the rows, in mm?"),
            _figure("spot_y_mm", "The spot across the rows; lines are not closer than this.",
                    "0.06", "How wide is its spot across the rows, in mm?"),
            FileEntry(name="is_spot_measured",
                      says="Whether you measured the spot, or read it off.",
                  example="false", question="Did you measure the spot?", kind=AnswerKind.YES,
                  default="no"),
            _figure("max_s", "The power word that means full power (the controller's setting 30).",
                    "1000.0", "Which power word means full power (setting 30)?"),
            _figure("max_feed_mm_per_min", "The fastest it may go (setting 110).", "6000.0",
                    "How fast may it go, in mm per minute (setting 110)?"),
            _figure("acceleration_mm_per_s2", "Its acceleration along x (setting 120).", "500.0",
                    "What is its acceleration, in mm/s² (setting 120)?"),
            _figure("travel_x_mm", "How far it goes along x (setting 130).", "400.0",
                    "How far does it go along x, in mm (setting 130)?"),
            _figure("travel_y_mm", "How far it goes along y (setting 131).", "400.0",
                    "How far does it go along y, in mm (setting 131)?"),
            FileEntry(name="pointer_x_mm",
                      says="Where its pointer shines, seen from the beam, in mm.",
                  example="0.0"),
            FileEntry(name="pointer_y_mm", says="", example="0.0"),
        ),
    ),
    FileSection(
        name="head.register",
        says="Why rows burnt in opposite directions do not meet; a register card finds it.",
        entries=(
            FileEntry(name="beam_lag_s", says="", example="0.0"),
            FileEntry(name="slack_mm", says="", example="0.0"),
            FileEntry(name="is_measured", says="", example="false"),
        ),
    ),
    FileSection(
        name="board",
        says="",
        entries=(
            FileEntry(
                name="chip",
                says="The chip that has the pins, by its label; `etchwarden-safe --chips` lists"
                " them.",
                example='"pinctrl-rp1"',
                question="Which GPIO chip has the pins? (empty: nothing is wired)",
                default="",
            ),
        ),
    ),
    FileSection(
        name="inputs",
        says="Circuits that are closed when all is well, each with its pin as the chip counts.\n"
        'What else a line may say: closed = "low" where the pin is low when the circuit is\n'
        'closed ("high" unless said), normally = "closed" (the only kind there is).\n'
        "Leave out what is not wired; without a lid nothing is ever started.",
        entries=(
            _input("lid", "Lid contact: which pin? (empty: not wired)", 12),
            _input("lid_second", "Second lid contact: which pin?", 13),
            _input("air_flow", "Air-flow switch: which pin?", 18),
            _input("pressure_above_low", "Pressure switch, above the low limit: which pin?", 18),
            _input("pressure_below_high", "Pressure switch, below the high limit: which pin?", 19),
            _input("flame", "Flame or smoke detector: which pin?", 20),
            _input("stop_circuit", "Stop circuit: which pin?", 21),
            _input("temperature", "Temperature switch: which pin?", 24),
            _input("arm_button", "Button at the machine: which pin?", 25),
            _input("loop_closed", "End of the laser's interlock loop, read back: which pin?", 26),
        ),
    ),
    FileSection(
        name="outputs",
        says='Relays and lamps, off when nothing is said. active = "low" where a low pin is on.',
        entries=(
            _input("beam_enable", "Beam-enable relay: which pin? (empty: not wired)", 22),
            _input("extraction", "Extraction relay: which pin?", 23),
            _input("lamp", "Lamp: which pin?", 27),
            _input("buzzer", "Buzzer: which pin?", 16),
            _input("heartbeat", "Heartbeat to the monostable: which pin?", 17),
        ),
    ),
    FileSection(
        name="laser",
        says="",
        entries=(
            FileEntry(
                name="beam_enable_settle_s",
                says="How long the laser takes to wake after its supply comes back, 0 to 60 s.",
                example="0.0",
                question="How many seconds does the laser take to wake after its supply is on?",
                kind=AnswerKind.NUMBER,
                default="0",
            ),
        ),
    ),
    FileSection(
        name="interlocks",
        says="",
        entries=(
            FileEntry(name="stable_s",
                      says="How long a circuit must be closed to count, 0.2 to 10 s.",
                  example="0.5"),
            FileEntry(name="flame_confirm_s",
                  says="A flame stops beam and feed at once. Seen for so long, 0.5 s at most,\n"
                  "or twice in 10 s, it is an emergency; at the first sight without this.",
                  example="0.3"),
            FileEntry(name="flame_confirm_because", says="",
                  example='"the detector sees the welder next door"'),
        ),
    ),
    FileSection(
        name="extraction",
        says="",
        entries=(
            FileEntry(name="purge_s", says="How long the fan runs before the beam, 1 to 600 s.",
                  example="10.0"),
            FileEntry(name="clearing_s", says="How long it runs on afterwards, 0 to 3600 s.",
                  example="120.0"),
            FileEntry(name="after_fire", says='The fan in a fire: "off", or "on" with the reason.',
                  example='"on"'),
            FileEntry(name="after_fire_because", says="",
                  example='"the duct is of steel and the fan outside"'),
        ),
    ),
    FileSection(
        name="attendance",
        says="",
        entries=(
            FileEntry(name="round_every_min",
                  says="Every so many minutes somebody has to answer, 20 to 30.\n"
                  "A box that may only run attended asks every 20 minutes without this.",
                  example="30.0"),
            FileEntry(name="answer_within_min", says="How long they may take, 2 to 10 minutes.",
                  example="5.0"),
            FileEntry(name="look_every_min",
                  says="The two looks after the end come so many minutes apart, 10 to 30.",
                  example="15.0"),
            FileEntry(name="closing_time", says="When the workshop closes, last look done.",
                      example='"18:30"'),
            FileEntry(name="closing_time_is_firm",
                  says="Whether a run that would not end by then is not started.", example="true"),
        ),
    ),
    FileSection(
        name="rules.fumes_extracted",
        says="How long missing air flow may last; this rule and the next may wait, 5 s at most.",
        entries=(
            FileEntry(name="trip_delay_s", says="", example="1.0"),
            FileEntry(name="because",
                      says="", example='"the switch flutters when the filter is new"'),
        ),
    ),
    FileSection(
        name="rules.cool_enough",
        says="",
        entries=(
            FileEntry(name="trip_delay_s", says="", example="0.5"),
            FileEntry(name="because", says="", example='"the switch chatters"'),
        ),
    ),
)  # fmt: skip
