"""The wiring drawing: the one that is shown is the one that is drawn, and its figures hold."""

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.limits import HEARTBEAT_OPENS_WITHIN_S, MONOSTABLE_S
from etchpractice.box.board import HEARTBEAT_S
from wiring_drawing.drawing import CONTACTS, FILE, LOADS, MONOSTABLE_WORDS, drawn
from wiring_drawing.figures import (
    BLEEDER_OHM,
    DIRECT_PULL_OHM,
    DIRECT_SERIES_OHM,
    INPUT_OHM,
    LED_V,
    LOGIC_V,
    LOOP_OHM,
    NOMINAL_S,
    PULL_OHM,
    SUPPLY_V,
)
from wiring_drawing.symbols import LEFT, WIDTH

ROOT = Path(__file__).resolve().parents[2]
LEAST_WETTING_A = 0.001  # for gold-plated contacts; common practice, no source
LOGIC_HIGH_V = 2.0  # of a 3.3 V input of the 40-pin header (from memory)


def test_the_drawing_that_is_shown_is_the_one_that_is_drawn():
    assert FILE.read_text() == drawn()


def test_every_contact_and_every_load_is_on_the_drawing():
    assert set(CONTACTS) == {name.value for name in Input}
    assert set(LOADS) == {name.value for name in Output}


def test_no_word_of_the_drawing_leaves_its_edge():
    # A sans-serif letter is some 0.6 of its size wide at most, on the average of a line.
    for text in ET.parse(FILE).iter("{http://www.w3.org/2000/svg}text"):
        width = 0.56 * float(text.get("font-size")) * len(text.text)
        begins = (
            float(text.get("x"))
            - {"start": 0, "middle": width / 2, "end": width}[text.get("text-anchor")]
        )
        assert begins >= LEFT - 12, text.text
        assert begins + width <= WIDTH, text.text


@pytest.mark.parametrize("document", ["daemon/WIRING.md", "web/etchweb/static/machine/wiring.svg"])
def test_the_monostable_has_one_figure_everywhere(document):
    words = re.sub(r"<[^>]*>|\s+", " ", (ROOT / document).read_text())
    said = re.findall(r"\d+ +to +\d+ +ms", words)

    assert said
    assert {" ".join(one.split()) for one in said} == {MONOSTABLE_WORDS}
    assert MONOSTABLE_S[0] <= HEARTBEAT_S <= MONOSTABLE_S[1]
    assert MONOSTABLE_S[1] < HEARTBEAT_OPENS_WITHIN_S


def test_the_monostables_parts_keep_it_within_its_figure():
    # 1 % and 5 % the parts, 10 % the circuit itself; a relay with a diode falls within 30 ms (from
    # memory).
    assert MONOSTABLE_S[0] <= NOMINAL_S * 0.84
    assert MONOSTABLE_S[1] >= NOMINAL_S * 1.16 + 0.03


def test_every_contact_is_wetted_and_every_isolator_is_driven():
    # Ohm's law; half of the light's current comes through, and has to lift the pin's resistor.
    drops = {SUPPLY_V: INPUT_OHM, **LOOP_OHM}
    for volts, ohm in drops.items():
        through_a = (volts - LED_V) / ohm
        assert through_a >= 3 * LEAST_WETTING_A
        assert through_a**2 * ohm <= 0.25 / 2  # watts, half of the resistor's
        assert through_a / 2 * PULL_OHM >= LOGIC_V


def test_a_contact_straight_at_the_pin_is_wetted_and_reads_high():
    through_a = LOGIC_V / (DIRECT_SERIES_OHM + DIRECT_PULL_OHM)

    assert through_a >= LEAST_WETTING_A
    assert through_a * DIRECT_PULL_OHM >= LOGIC_HIGH_V


def test_the_bleeder_stays_within_half_of_its_watts():
    assert SUPPLY_V**2 / BLEEDER_OHM <= 2 / 2
