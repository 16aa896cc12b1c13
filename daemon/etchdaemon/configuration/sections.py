"""The sections of a configuration, one function for each."""

from collections.abc import Iterable, Mapping
from datetime import time
from typing import Final

from etchdaemon.configuration.pin_map import Pin, PinMap
from etchdaemon.interlocks.attendance.looks_after_end import LOOK_EVERY_MIN
from etchdaemon.interlocks.attendance.watch_rounds import ROUND_EVERY_MIN, AttendanceRules
from etchdaemon.interlocks.conditions.extraction import ExtractionTimes
from etchdaemon.interlocks.conditions.flame import MOST_CONFIRM_S
from etchdaemon.interlocks.conditions.samples import Condition
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.rules.rule_table import (
    MAX_DELAY_S,
    MAY_DELAY,
    RULES,
    Air,
    Rule,
    RuleChange,
)
from etchwire.configuration.faults import Reason
from etchwire.configuration.tables import Table

MOST_PIN: Final = 53  # the highest line that the boards we know have
SHORTEST_PRACTICE_MIN: Final = 0.02
_LEVELS: Final = ("high", "low")


def read_pins(root: Table) -> PinMap:
    """Read chip, inputs and outputs; every pin once."""
    board = root.table("board")
    chip_label = board.text("chip")
    board.done()
    inputs = _read_side(root.table("inputs"), Input, level="closed")
    outputs = _read_side(root.table("outputs"), Output, level="active")
    if (inputs or outputs) and not chip_label:
        board.fault(
            Reason.NO_CHIP,
            "chip",
            "name the chip that has the pins by its label, such as “pinctrl-rp1”; "
            "`etchwarden-safe --chips` lists those of this computer.",
        )
    _refuse_twice(root, inputs, outputs)
    _refuse_half_wired(root, inputs)
    return PinMap(chip_label=chip_label, inputs=inputs, outputs=outputs)


def read_extraction(table: Table) -> tuple[ExtractionTimes, dict[str, RuleChange]]:
    """Read the fan's times, and what becomes of it in a fire."""
    times = ExtractionTimes(
        purge_s=table.number("purge_s", 10.0, least=1.0, most=600.0),
        clearing_s=table.number("clearing_s", 120.0, least=0.0, most=3600.0),
    )
    after_fire = table.text("after_fire", "off", among=("on", "off"))
    because = table.text("after_fire_because")
    table.done()
    if after_fire == "off":
        return times, {}
    if not because:
        _want_reason(table, "after_fire_because")
    return times, {Condition.NO_FIRE.value: RuleChange(because=because, air=Air.ON)}


def read_flame(table: Table) -> dict[str, RuleChange]:
    """Read whether a flame has to be confirmed before it is an emergency."""
    confirm_s = table.number("flame_confirm_s", 0.0, least=0.0, most=MOST_CONFIRM_S)
    because = table.text("flame_confirm_because")
    if not confirm_s:
        return {}
    if not because:
        _want_reason(table, "flame_confirm_because")
    change = RuleChange(because=because, flame_confirm_s=confirm_s)
    return {Condition.NO_FIRE.value: change}


def read_attendance(table: Table, *, is_practice: bool = False) -> AttendanceRules:
    """Read watch rounds and closing time; a practice box may have rounds seconds apart."""
    closing_time = _read_time(table, "closing_time")
    shortest_min, longest_min = ROUND_EVERY_MIN
    rules = AttendanceRules(
        round_every_min=table.optional_number(
            "round_every_min",
            least=SHORTEST_PRACTICE_MIN if is_practice else shortest_min,
            most=longest_min,
        ),
        answer_within_min=table.number(
            "answer_within_min",
            AttendanceRules().answer_within_min,
            least=SHORTEST_PRACTICE_MIN if is_practice else 2.0,
            most=10.0,
        ),
        look_every_min=table.number(
            "look_every_min",
            LOOK_EVERY_MIN,
            least=SHORTEST_PRACTICE_MIN if is_practice else 10.0,
            most=30.0,
        ),
        closing_time=closing_time,
        is_closing_time_firm=table.is_set("closing_time_is_firm", otherwise=True),
    )
    table.done()
    return rules


def read_changes(root: Table) -> dict[str, RuleChange]:
    """Read what is changed in rules; none can be removed, and only some may wait."""
    by_key = {rule.name.replace(" ", "_").replace("'", ""): rule for rule in RULES}
    rules = root.table("rules")
    changes = {}
    for key, table in rules.tables(tuple(by_key)).items():
        change = _read_change(table, by_key[key])
        table.done()
        if change is not None:
            changes[by_key[key].name] = change
    rules.done()
    return changes


def _read_side(
    side: Table, names: Iterable[Input] | Iterable[Output], *, level: str
) -> dict[str, Pin]:
    pins = {}
    for name, table in side.tables([name.value for name in names]).items():
        number = table.whole_number("pin", most=MOST_PIN)
        if number is None and "pin" not in table:
            table.fault(Reason.NO_PIN, "pin", "says which pin it is, as the chip counts them.")
        is_high_on = table.text(level, "high", among=_LEVELS) == "high"
        if level == "closed":
            _refuse_normally_open(table)
        table.done()
        if number is not None:
            pins[name] = Pin(number, is_high_on)
    side.done()
    return pins


def _refuse_normally_open(table: Table) -> None:
    if table.text("normally", "closed") != "closed":
        table.fault(
            Reason.NORMALLY_OPEN,
            "normally",
            "a contact that opens when all is well looks well with its wire cut; "
            "use one that is closed when all is well.",
        )


def _refuse_twice(root: Table, *sides: Mapping[str, Pin]) -> None:
    seen: dict[int, str] = {}
    for side in sides:
        for name, pin in side.items():
            if pin.number in seen:
                said = f"pin {pin.number} is already the one of “{seen[pin.number]}”."
                root.fault(Reason.PIN_TWICE, name, said)
            seen.setdefault(pin.number, name)


def _refuse_half_wired(root: Table, inputs: Mapping[str, Pin]) -> None:
    low, high = Input.PRESSURE_ABOVE_LOW.value, Input.PRESSURE_BELOW_HIGH.value
    if (low in inputs) is not (high in inputs):
        said = "air flow shows as a pressure between two limits: wire both switches, or neither."
        root.fault(Reason.HALF_A_WINDOW, low if low in inputs else high, said)
    if Input.AIR_FLOW.value in inputs and {low, high} & set(inputs):
        said = "give either the air-flow switch or the two pressure switches."
        root.fault(Reason.TWO_PROOFS_OF_AIR, Input.AIR_FLOW.value, said)
    if Input.LID_SECOND.value in inputs and Input.LID.value not in inputs:
        said = "a single lid contact is called “lid”."
        root.fault(Reason.SECOND_LID_ALONE, Input.LID_SECOND.value, said)


def _read_change(table: Table, rule: Rule) -> RuleChange | None:
    if table.is_set("off", otherwise=False):
        lid = rule.requires is Condition.LID_CLOSED
        said = (
            "the lid rule cannot be removed."
            if lid
            else "a rule cannot be removed; leave out the input that is not wired."
        )
        table.fault(Reason.RULE_REMOVED, "off", said)
    most_s = MAX_DELAY_S - (rule.trip_after_hold_s or 0.0)
    delay_s = table.optional_number("trip_delay_s", least=0.0, most=most_s)
    because = table.text("because")
    if delay_s and rule.requires not in MAY_DELAY:
        said = "this rule acts at once; only air flow and temperature may wait."
        table.fault(Reason.DELAY_NOT_ALLOWED, "trip_delay_s", said)
    if delay_s is None:
        return None
    if not because:
        _want_reason(table, "because")
    return RuleChange(because=because, trip_delay_s=delay_s)


def _want_reason(table: Table, name: str) -> None:
    table.fault(Reason.NO_REASON, name, "say in a few words why this is not as it comes.")


def _read_time(table: Table, name: str) -> time | None:
    text = table.text(name)
    if not text:
        return None
    try:
        return time.fromisoformat(text)
    except ValueError:
        said = f"“{name}” has to be a time of day such as 18:30, not “{text}”."
        table.fault(Reason.OUT_OF_RANGE, name, said)
        return None
