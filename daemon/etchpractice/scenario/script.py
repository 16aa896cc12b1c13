"""A scenario as it is written down in TOML, read with every fault in it named.

about = "The lid is opened in mid-row, and the etch taken up again."
known = "..."          # of what is invented, what is common practice and what nobody knows
box = "..."            # how the box is wired and set, as in a machine's file; else the practice box

[picture]              # an even grey of dots, unless a photo is given to the command
rows = 10
columns = 200

[tile]                 # what goes wrong there, see `etchpractice.tile.imperfections`
haze = 0.3

[[step]]
at_row = 4             # or at_s after the beginning, after_s after the step before, when_may
do = "lid opens"       # an event, see `events`; its parameters stand beside it
expect = { beam = "off" }
within_s = 0.1         # it comes to that so soon ...
for_s = 2.0            # ... and stays so for so long
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from etchpractice.box.board import INPUTS
from etchpractice.scenario.events import EVENTS, Actor, Event, EventKind
from etchpractice.scenario.expectations import EXPECTATIONS, Expectation
from etchpractice.scenario.observation import PRESENCE
from etchpractice.scenario.reader import Reader, unknown
from etchpractice.tile.imperfections import NAMES, Imperfections, UnfitImperfection
from etchwire.errors import UnreadableToml
from etchwire.plain import FURTHEST_MM
from etchwire.toml_text import read_toml

GET_READY: Final = "get ready and start"


class FaultyScenario(ValueError):
    """A scenario is refused; `faults` are sentences, each with its place."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("The scenario cannot be played:\n  " + "\n  ".join(faults))


class Begins(StrEnum):
    """Where a scenario begins."""

    LOADED = "loaded"
    ETCHING = "etching"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What is etched: an even grey, every second dot of it burnt."""

    rows: int = 10
    columns: int = 200
    has_constant_power: bool = False
    pauses_in_row: int | None = None  # counted as in the file, from nought
    feed_mm_per_min: float | None = None  # else the practice recipe's


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """When a step is due; all that is given must have come."""

    row: int | None = None
    at_s: float | None = None
    after_s: float = 0.0
    offered: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing that happens, and what must come of it, within a time where one is written."""

    moment: Moment
    event: Event | None
    expected: tuple[Expectation, ...]
    within_s: float | None = None
    for_s: float = 0.0

    @property
    def expects_refusal(self) -> bool:
        """Whether what is asked of the daemon is to be refused."""
        refused = EXPECTATIONS["refused"]
        return any(expectation.subject is refused for expectation in self.expected)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """A timed list of events and expectations. `needs_real_time`: it proves nothing when fast."""

    about: str
    known: str
    box: str
    picture: Picture
    imperfections: Mapping[str, float]
    begins: Begins
    firmware: str
    baud: int
    needs_real_time: bool
    steps: tuple[Step, ...]

    @property
    def needs_page(self) -> bool:
        """Whether the page has a part in it, which would not be there when nobody looks."""
        return any(
            kind is EVENTS["page killed"] or kind.actor is Actor.PHONE for kind in self._kinds
        )

    @property
    def moves_contacts(self) -> bool:
        """Whether contacts move in it: their times, and those of hands, are the wall's."""
        return any(kind.actor is Actor.BOARD for kind in self._kinds)

    @property
    def hears_buzzer(self) -> bool:
        """Whether the buzzer has a part in it, which in fast practice is not wired."""
        return self._expects("buzzer")

    @property
    def reads_alerts(self) -> bool:
        """Whether people are to be told by webhook or mail."""
        return self._expects("told")

    def _expects(self, name: str) -> bool:
        subject = EXPECTATIONS[name]
        return any(one.subject is subject for step in self.steps for one in step.expected)

    @property
    def _kinds(self) -> tuple[EventKind, ...]:
        return tuple(step.event.kind for step in self.steps if step.event is not None)


def read_scenario(text: str) -> Scenario:
    """Read a scenario; raise FaultyScenario naming everything that is wrong with it."""
    try:
        table = read_toml(text)
    except UnreadableToml as error:
        raise FaultyScenario([f"it is not TOML: {error}."]) from error
    faults: list[str] = []
    scenario = _scenario(Reader(table, "the file", faults))
    if faults:
        raise FaultyScenario(faults)
    return scenario


def _scenario(reader: Reader) -> Scenario:
    about = reader.take("about", str, None, "a text")
    if not about:
        reader.complain("“about” is missing: say in one sentence what is played.")
    begins = reader.choice("begins", Begins.ETCHING.value, tuple(Begins))
    scenario = Scenario(
        about=about or "",
        known=reader.take("known", str, "", "a text"),
        box=reader.take("box", str, "", "a text"),
        picture=_picture(reader.table("picture")),
        imperfections=_imperfections(reader.table("tile")),
        begins=Begins(begins),
        firmware=reader.choice("firmware", "8-bit", ("8-bit", "32-bit")),
        baud=reader.whole_number("baud", 115200, least=1200),
        needs_real_time=reader.take("real_time", bool, False, "true or false"),
        steps=tuple(step for one in reader.tables("step") for step in _steps(one)),
    )
    if not reader.faults and not any(step.expected for step in scenario.steps):
        reader.complain("nothing is expected, so nothing could fail.")
    reader.done()
    return scenario


def _picture(reader: Reader) -> Picture:
    picture = Picture(
        rows=reader.whole_number("rows", 10, least=1),
        columns=reader.whole_number("columns", 200, least=2),
        has_constant_power=reader.take("constant_power", bool, False, "true or false"),
        pauses_in_row=reader.whole_number("pause_in_row", None),
        feed_mm_per_min=reader.number("feed_mm_per_min", None, least=1),
    )
    if (picture.pauses_in_row or 0) >= picture.rows:
        reader.complain(f"“pause_in_row” must be less than {picture.rows}, the number of rows.")
    reader.done()
    return picture


def _imperfections(reader: Reader) -> Mapping[str, float]:
    taken = {name: reader.number(name, 0.0, least=-FURTHEST_MM) for name in NAMES}
    reader.done()
    given = {name: figure for name, figure in taken.items() if figure}
    try:
        Imperfections(**given)
    except UnfitImperfection as error:
        reader.complain(f"{error}.")
        return {}
    return given


def _steps(reader: Reader) -> tuple[Step, ...]:
    """Return a step; “get ready and start” stands for the three that a person does."""
    moment = Moment(
        row=reader.whole_number("at_row", None),
        at_s=reader.number("at_s", None),
        after_s=reader.number("after_s", 0.0),
        offered=reader.take("when_may", str, None, "a text"),
    )
    within_s = reader.number("within_s", None)
    for_s = reader.number("for_s", 0.0)
    expected = _expected(Reader(
        reader.take("expect", dict, {}, "a table"), f"{reader.where}, “expect”", reader.faults
    ))  # fmt: skip
    do = reader.take("do", str, None, "a text")
    before: tuple[Step, ...] = ()
    event = STARTING.event if do == GET_READY else _event(do, reader)
    if do == GET_READY:
        before, moment = GETTING_READY, STARTING.moment
    reader.done()
    if do is None and not expected:
        reader.complain("nothing is done and nothing expected.")
    step = Step(moment=moment, event=event, expected=expected, within_s=within_s, for_s=for_s)
    return (*before, step)


def _event(do: str | None, reader: Reader) -> Event | None:
    if do is None:
        return None
    kind = EVENTS.get(do)
    if kind is None:
        reader.complain(f"“{do}” is {unknown(do, (*EVENTS, GET_READY))}")
        reader.rest()
        return None
    given = {}
    for name, expected_type in {**kind.takes, **kind.optional}.items():
        value = _parameter(name, expected_type, reader, is_contact=kind.actor is Actor.BOARD)
        if value is not None:
            given[name] = value
        elif name in kind.takes:
            reader.complain(f"“{do}” needs “{name}”, {_KINDS[expected_type]}.")
            given[name] = expected_type()
    return Event(kind, given)


def _parameter(name: str, expected_type: type, reader: Reader, *, is_contact: bool) -> object:
    least = -FURTHEST_MM if name.endswith("_mm") else 0.0
    if expected_type is int:
        return reader.whole_number(name, None, least=least)
    if expected_type is float:
        return reader.number(name, None, least=least)
    value: object = reader.take(name, expected_type, None, _KINDS[expected_type])
    if is_contact and isinstance(value, str) and value not in INPUTS:
        reader.complain(f"“{value}” is {unknown(value, INPUTS)}")
    return value


def _expected(reader: Reader) -> tuple[Expectation, ...]:
    expected = []
    for name, value in reader.rest().items():
        subject = EXPECTATIONS.get(name)
        if subject is None:
            reader.complain(f"“{name}” is {unknown(name, tuple(EXPECTATIONS))}")
        elif not subject.takes(value):
            reader.complain(f"“{name}” must be {subject.values_text()}, not {value!r}.")
        else:
            expected.append(Expectation(subject, value))
    return tuple(expected)


_KINDS: Final = {
    str: "a text", float: "a number", int: "a whole number", list: "a list of texts",
}  # fmt: skip
GETTING_READY: Final = (
    Step(moment=Moment(offered="arm"), event=Event(EVENTS["press arm"], {}), expected=()),
    Step(moment=Moment(offered=PRESENCE), event=Event(EVENTS["button pressed"], {}), expected=()),
)
STARTING: Final = Step(
    moment=Moment(offered="start"), event=Event(EVENTS["press start"], {}), expected=()
)
