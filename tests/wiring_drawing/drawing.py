"""The wiring drawing, sheet by sheet: `cd tests && python -m wiring_drawing.drawing` writes it.

Drawn without power, lid shut, nothing pressed. The pins are those that `configure` proposes.
"""

from pathlib import Path

from etchdaemon.interlocks.limits import FAN_RUNS_ON_AFTER_S, MONOSTABLE_S
from wiring_drawing.figures import (
    BLEEDER_OHM,
    DIRECT_PULL_OHM,
    DIRECT_SERIES_OHM,
    HEADER_PINS,
    INPUT_OHM,
    LOOP_OHM,
    MONOSTABLE_OHM,
    NOMINAL_S,
    PULL_OHM,
    RUN_ON_S,
    kilo,
    names_of,
    pin_of,
)
from wiring_drawing.symbols import INK, LEFT, SIGNAL, WARNING, Drawing

FILE = Path(__file__).resolve().parents[2] / "web/etchweb/static/machine/wiring.svg"
MONOSTABLE_WORDS = f"{MONOSTABLE_S[0] * 1000:.0f} to {MONOSTABLE_S[1] * 1000:.0f} ms"

# What the contact behind each input is.
CONTACTS = {
    "lid": "S2 21–22",
    "lid_second": "S3 21–22",
    "air_flow": "B2, closes in flowing air",
    "pressure_above_low": "B3, instead of B2",
    "pressure_below_high": "B4, together with B3",
    "flame": "B1 itself, before KF",
    "stop_circuit": "S0 31–32",
    "temperature": "B5, opens when hot",
    "arm_button": "S1 23–24",
    "loop_closed": "at the laser, sheet 5 or 6",
}
LOADS = {
    "beam_enable": "coil of K2",
    "extraction": "coil of K4",
    "lamp": "P1, 24 V lamp",
    "buzzer": "P2, 24 V buzzer",
    "heartbeat": "U1, sheet 4, no driver",
}


def drawn() -> str:
    """Return the drawing as SVG."""
    page = Drawing()
    for sheet in (
        _front, _supply, _module, _relays, _heartbeat, _laser_with_loop, _laser_with_supply,
        _inputs, _outputs, _fan, _minimum,
    ):  # fmt: skip
        sheet(page)
    return page.svg(
        "Wiring of the box beside the laser",
        "Eight sheets for a qualified person: supply; the chain of lid, stop, flame and heartbeat"
        " contacts into a safety relay module K1, or into force-guided relays; the heartbeat's"
        " monostable; K1 and K2 in the laser's loop or in its supply, read back; inputs through"
        " isolators; drivers; the fan with its run-on; and the minimum, with what it lacks."
        " daemon/WIRING.md says the same in words.",
    )


def _front(page: Drawing) -> None:
    page.y = 32
    page.text(LEFT, page.y, "Wiring of the box", size=21, color=INK, is_bold=True)
    page.y += 10
    page.note(
        "For a qualified person, who decides. Local codes and licensed practice come first. These "
        "sheets claim no category, no performance level and no conformity. Nothing of them has "
        "been built or tested yet.",
        color=WARNING,
    )
    page.note(
        "A category (ISO 13849-1) would need an assessment of this machine’s risks; parts with "
        "known failure figures along the whole way from lid, stop and detector to the laser; fault "
        "detection and measures against common causes; and a validation. The computer, K2, K3 and "
        "what drives them would count for nothing in it."
    )
    page.note(
        "Drawn without power, lid shut, nothing pressed. Every contact of the chain opens when its "
        "wire is cut or its relay loses power. Blue figures are terminals; a module’s own manual "
        "overrules them."
    )


def _supply(page: Drawing) -> None:
    page.heading("1  Supply, fuses, earth")
    top = page.y + 30
    page.pole(70, top, "L, N")
    page.wire((62, top + 12), (78, top + 4), width=1.5)
    page.wire((62, top + 16), (78, top + 8), width=1.5)
    y = page.contact(70, top, "Q1 main switch", "both poles, lockable; PE goes past it")
    y = page.fuse(
        70, y, "F1, F1.2, F1.3: one for each supply,", "after local codes and its nameplate"
    )
    page.box(20, y, 176, 58, "G1 PELV supply", "24 V DC, 5 A")
    page.box(220, y, 204, 58, "G2 · G3 · G4", "computer 5 V · laser · motors")
    page.wire((70, y - 8), (322, y - 8), (322, y))
    page.joint(70, y - 8)
    y += 58
    page.wire((60, y), (60, y + 14), (364, y + 14))
    page.text(370, y + 19, "+24 V", color=INK, is_bold=True)
    for x, words in (
        (90, ("F2 1 A", "chain")),
        (190, ("F3 3 A", "fan, air")),
        (290, ("F4 1 A", "inputs")),
    ):
        page.joint(x, y + 14)
        page.fuse(x, y + 14, *words)
    page.wire((34, y), (34, y + 92))
    page.zero(34, y + 92)
    page.joint(34, y + 76)
    page.wire((34, y + 76), (76, y + 76), (76, y + 88))
    for shift, half in enumerate((12, 8, 4)):
        page.wire((76 - half, y + 88 + 5 * shift), (76 + half, y + 88 + 5 * shift))
    page.text(98, y + 90, "0 V to PE here and nowhere else: an earth", size=12.5)
    page.text(98, y + 106, "fault then blows a fuse instead of hiding", size=12.5)
    page.y = y + 116
    page.note(
        "G1: a supply for PELV (double or reinforced insulation from the mains), short-circuit "
        "proof. PE also to the enclosure, its lid, the bed and the fan’s housing. The computer’s "
        "0 V joins G1’s 0 V at the driver board only; the laser’s own 0 V joins neither. Wire of "
        "0.75 mm² behind F2 and F4, 1 mm² behind F3."
    )
    page.note(
        "The motors keep their power when the chain opens: the head is stopped by a command (stop "
        "category 2). S0 cuts the beam at once; for motion it is a commanded stop, not an "
        "emergency stop. Where the assessment asks for one, S0 also opens a contactor before G4; "
        "set the origin again afterwards."
    )


def _chain(page: Drawing, x: float, y: float, *parts: tuple[str, ...]) -> float:
    for name, terminals, kind, *words in parts:
        y = page.contact(
            x, y, name, *words, terminals=terminals, is_open=kind == "open",
            is_forced=kind == "forced",
        )  # fmt: skip
    return y


def _module(page: Drawing) -> None:
    page.heading("2  The chain, with a safety relay module")
    page.note(
        "Recommended: K1 is a certified safety relay module for guards and stops, two channels "
        "with cross-fault detection, monitored (falling-edge) reset, 3 outputs."
    )
    top = page.y + 12
    page.box(LEFT, top, 408, 34, "K1 module")
    for x, name in ((60, "S11"), (196, "S21"), (332, "S33")):
        page.text(x + 6, top + 47, name, size=11, color=SIGNAL)
    top += 34
    y = _chain(
        page, 60, top + 14,
        ("S2 lid 1", "11–12", "forced"), ("S0 stop", "11–12", "forced"),
        ("KF flame", "21–24", "open"), ("K3 beat", "11–14", "open"),
    )  # fmt: skip
    _chain(
        page, 196, top + 14,
        ("S3 lid 2", "11–12", "forced"), ("S0 stop", "21–22", "forced"),
        ("KF flame", "31–34", "open"), ("K3 beat", "21–24", "open"),
    )  # fmt: skip
    end = _chain(
        page, 332, top + 14,
        ("S1 button", "13–14", "open", "at the", "machine"), ("K2", "21–22", "closed", "feedback"),
        ("KL1", "21–22", "closed", "sheet 6 only"), ("KL2", "21–22", "closed", "sheet 6 only"),
    )  # fmt: skip
    for x in (60, 196, 332):
        page.wire((x, top), (x, top + 14))
        page.wire((x, y), (x, y + 14))
    assert end == y
    y += 14
    for x, name in ((60, "S12"), (196, "S22"), (332, "S34")):
        page.text(x + 6, y - 3, name, size=11, color=SIGNAL)
    page.box(LEFT, y, 408, 92, "K1 module", "A1: +24 V from F2 · A2: 0 V",
             "13–14: laser, sheet 5 or 6 · 23–24: air assist, sheet 8",
             "33–34: free")  # fmt: skip
    page.y = y + 92
    page.note(
        "S0: latching mushroom button, three direct-opening contacts. S2, S3: guard switches with "
        "two direct-opening contacts each (circled arrow), of different make or mounting, hard to "
        "defeat, driven by the lid itself. S1: three closing contacts, in sight of the bed."
    )
    page.note(
        "A stuck or bridged S1 sets nothing here: the module waits for its release. K2 welded, "
        "or KL1 or KL2, keeps S34 open, so K1 cannot be set again."
    )
    page.text(LEFT, page.y + 20, "KF, the flame relay (either chain)", size=15, color=INK,
              is_bold=True)  # fmt: skip
    top = page.y + 52
    page.pole(60, top, "+24 V, F4")
    y = page.contact(60, top, "B1 flame or smoke detector",
                     "closed: it has power and sees none")  # fmt: skip
    page.joint(60, y + 4)
    page.wire((60, y), (60, y + 16))
    page.wire((60, y + 4), (340, y + 4))
    page.text(346, y + 2, "to input", size=12.5)
    page.text(346, y + 17, "“flame”", size=12.5)
    page.joint(60, y + 16)
    page.wire((60, y + 16), (220, y + 16))
    page.contact(60, y + 16, "KF", "holds itself", terminals="11–14")
    end = page.contact(220, y + 16, "S1 button", "sets it", terminals="33–34")
    page.wire((60, end), (220, end))
    page.joint(60, end)
    y = page.coil(60, end, "KF", "4 changeover contacts")
    page.zero(60, y)
    page.y = y + 20
    page.note(
        "KF stays down after a flicker until somebody presses S1: neither the beam nor the fan’s "
        "run-on comes back by itself. With power first on and the heartbeat there, one press sets "
        "KF and K1."
    )


def _relays(page: Drawing) -> None:
    page.heading("3  The chain, with force-guided relays")
    page.note(
        "Instead of sheet 2. K1A, K1B, K0: relays with force-guided contacts (IEC 61810-3, type "
        "A), 24 V coils. Says less than the module: a bridged S1 sets it by itself, and no cross "
        "fault between wires is found. The box does notice a button held for more than 10 s."
    )
    top = page.y + 34
    page.pole(60, top, "+24 V, F2")
    y = _chain(
        page, 60, top,
        ("S2 lid 1", "11–12", "forced"), ("S3 lid 2", "11–12", "forced"),
        ("S0 stop", "11–12", "forced"), ("KF flame", "21–24", "open"),
        ("K3 beat", "11–14", "open"),
    )  # fmt: skip
    page.wire((60, y), (60, y + 14))
    page.joint(60, y + 14)
    page.wire((60, y + 14), (324, y + 14))
    page.joint(200, y + 14)
    begin = y + 14
    y = _chain(
        page, 60, begin,
        ("S1 button", "13–14", "open"), ("K1A", "21–22", "closed", "feedback"),
        ("K1B", "21–22", "closed", "feedback"), ("K2", "21–22", "closed", "feedback"),
    )  # fmt: skip
    y = page.coil(60, y, "K0", "the set pulse")
    bottom = y
    page.contact(200, begin, "K0", terminals="13–14")
    held = _chain(
        page, 324, begin, ("K1A", "13–14", "open", "holds"), ("K1B", "13–14", "open", "holds")
    )
    page.wire((200, begin + 52), (200, held), (324, held))
    page.joint(200, held)
    page.wire((200, held), (200, bottom - 52))
    page.joint(200, bottom - 78)
    page.wire((200, bottom - 78), (324, bottom - 78), (324, bottom - 52))
    page.coil(200, bottom - 52, "K1A")
    page.coil(324, bottom - 52, "K1B")
    page.wire((60, bottom), (324, bottom))
    page.joint(200, bottom)
    page.wire((60, bottom), (60, bottom + 10))
    page.zero(60, bottom + 10)
    page.joint(60, bottom)
    page.y = bottom + 32
    page.note(
        "With sheet 6 put KL1 21–22 and KL2 21–22 in series with K2 21–22. Wherever these sheets "
        "say K1 13–14 read K1A 33–34 and K1B 33–34 in series; for K1 23–24 read K1A 43–44. The "
        "diode across K0 is needed: it lets K0 fall late enough for K1A and K1B to hold."
    )


def _heartbeat(page: Drawing) -> None:
    pin = pin_of("outputs", "heartbeat")
    page.heading("4  The heartbeat: monostable and K3")
    top = page.y + 26
    page.text(LEFT, top, f"output “heartbeat”: GPIO {pin}, header {HEADER_PINS[pin]}", color=INK)
    page.wire((40, top + 6), (40, top + 12))
    y = page.resistor(40, top + 12, "1 kΩ")
    page.joint(40, y)
    page.zero(40, page.resistor(40, y, kilo(PULL_OHM)))
    page.box(190, top + 20, 124, 124, "U1 74HC4538")
    page.wire((40, y), (190, y))
    page.text(196, y + 5, "4  in, rising", size=12, color=SIGNAL)
    for number, (inside, outside) in enumerate((
        ("16, 3, 5", "3.3 V, header 1"), ("2", "R and C"), ("6", "out, below"),
        ("1, 8, 11–13", "0 V"),
    )):  # fmt: skip
        row = top + 58 + 24 * number
        page.text(308, row, inside, size=12, color=SIGNAL, anchor="end")
        page.text(320, row, outside, size=12)
    page.y = top + 150
    page.note(
        f"R = {kilo(MONOSTABLE_OHM)} (1 %) from pin 2 to 3.3 V; C = 1 µF film (5 %) between pins 1 "
        f"and 2: t = 0.7 R C = {NOMINAL_S * 1000:.0f} ms (from memory; see its data sheet). 100 nF "
        "from 16 to 8. Each "
        "rising edge starts it anew; a level that stands still, high or low, lets it end. From the "
        f"last edge to K3’s fall it must measure {MONOSTABLE_WORDS}."
    )
    _driver(page, "from pin 6", "K3", "3 changeover")
    page.note("MOSFET and diode as on sheet 7b.")


def _driver(page: Drawing, source: str, load: str, words: str) -> None:
    """Draw the stage that drives a coil or a lamp."""
    top = page.y + 34
    page.text(LEFT, top + 72, source, color=INK)
    page.wire((LEFT, top + 80), (70, top + 80))
    page.add(
        f'<rect x="70" y="{top + 74:g}" width="34" height="12" fill="#ffffff" stroke="{INK}"'
        ' stroke-width="2"/>'
    )
    page.text(87, top + 104, "1 kΩ", size=12.5, anchor="middle")
    page.wire((104, top + 80), (232, top + 80))
    page.joint(150, top + 80)
    end = page.resistor(150, top + 80, f"{kilo(PULL_OHM)} at", "the driver")
    page.zero(150, end)
    page.pole(300, top, "+24 V, F2")
    y = page.coil(300, top, load, words, terminals="")
    page.joint(300, top + 6)
    page.wire((300, top + 6), (262, top + 6))
    _free_wheel(page, 300, top)
    page.box(232, y, 136, 32, "MOSFET")
    page.text(226, y + 22, "gate", size=11, color=SIGNAL, anchor="end")
    page.text(308, y + 47, "source", size=11, color=SIGNAL)
    page.wire((300, y + 32), (300, end))
    page.zero(300, end)
    page.y = end + 20


def _free_wheel(page: Drawing, x: float, top: float) -> None:
    """Draw the diode across a coil that begins at `top`, to its left."""
    page.add(f'<path d="M{x - 47:g} {top + 33:g}h18l-9-15z" fill="{INK}"/>')
    page.wire((x - 47, top + 17), (x - 29, top + 17))
    page.wire((x - 38, top + 6), (x - 38, top + 46), (x, top + 46))
    page.joint(x, top + 46)


def _laser_with_loop(page: Drawing) -> None:
    pin = pin_of("inputs", "loop_closed")
    page.heading("5  A laser with an interlock loop")
    top = page.y + 14
    page.box(LEFT, top, 140, 46, "laser", "loop, out")
    y = _chain(page, 60, top + 46, ("K1", "13–14", "open", "safety relay"),
               ("K2", "13–14", "open", "beam enable, force-guided"))  # fmt: skip
    page.joint(60, y + 10)
    page.wire((60, y), (60, y + 66))
    page.wire((60, y + 10), (300, y + 10))
    end = page.resistor(300, y + 10, "R, below")
    end = page.diode(300, end, "isolator: input", "“loop closed”", is_light=True)
    page.wire((300, end), (300, end + 8))
    page.zero(300, end + 8, "the laser’s own 0 V")
    page.box(LEFT, y + 66, 140, 46, "laser", "loop, back")
    page.y = max(y + 112, end + 30)
    sizes = " · ".join(f"{volts} V: {kilo(ohm)}" for volts, ohm in LOOP_OHM.items())
    page.note(
        f"R by the loop’s voltage: {sizes}, 0.25 W (4 to 5 mA). Its transistor side as on sheet 7, "
        f"GPIO {pin}, header {HEADER_PINS[pin]}. A loop that cannot give 5 mA: sheet 6. Contacts "
        "for small currents (gold, from 1 mA at 5 V). Out and back in separate sheaths."
    )
    page.note(
        "A loop with a grounded return (an input that is closed to the laser’s 0 V): one earth "
        "fault on its wire closes it past K1 and K2, and the node above reads nothing. Do not wire "
        "it so; leave its terminals bridged after its manual and use sheet 6.",
        color=WARNING,
    )


def _laser_with_supply(page: Drawing) -> None:
    page.heading("6  A laser without such a loop: its supply")
    top = page.y + 34
    page.pole(50, top, "F2 +24 V")
    y = page.contact(50, top, "K1", terminals="13–14")
    y = page.coil(50, y, "KL1")
    page.zero(50, y)
    page.pole(150, top, "F2 +24 V")
    y = page.contact(150, top, "K2", terminals="13–14")
    y = page.coil(150, y, "KL2")
    page.zero(150, y)
    page.pole(290, top, "G3, plus")
    y = page.fuse(290, top, "F5, by the laser’s", "nameplate")
    y = _chain(page, 290, y, ("KL1", "13–14", "open"), ("KL2", "13–14", "open"))
    page.joint(290, y + 8)
    page.wire((290, y), (290, y + 16))
    page.wire((290, y + 8), (60, y + 8))
    page.joint(180, y + 8)
    page.wire((180, y + 8), (180, y + 16))
    page.wire((60, y + 8), (60, y + 16))
    end = page.resistor(180, y + 16, "RB", kilo(BLEEDER_OHM))
    page.text(194, y + 72, "2 W", size=12.5)
    page.diode(290, y + 16, "V1 Schottky, twice", "the laser’s current")
    left = page.resistor(60, y + 16, "R, sheet 5")
    left = page.diode(60, left, "isolator", "“loop closed”", is_light=True)
    page.box(230, y + 68, 130, 46, "laser", "+ and −")
    page.wire((180, end), (180, left))
    page.wire((290, y + 114), (290, left))
    page.wire((60, left), (290, left))
    page.joint(180, left)
    page.wire((180, left), (180, left + 8))
    page.zero(180, left + 8, "the laser’s own 0 V (− of G3)")
    page.y = left + 32
    page.note(
        "KL1, KL2: force-guided power relays or contactors, making contacts rated for the laser’s "
        "direct current (DC-1, at its voltage) at twice its nameplate, and for its inrush: module "
        "capacitors draw ten times and more for a moment. A lid microswitch is not rated for "
        "either; it switches K1, never the laser. Where the inrush is unknown, measure it, or put "
        "an inrush limiter before V1. Do not cut G3 on its mains side: it holds up for too long."
    )
    page.note(
        "V1 and RB: without them the module’s charged capacitors hold the read-back closed after "
        "KL2 has opened, and the box says “cut the mains” without need. Measure both when first "
        "switched on: the read-back open ≤ 50 ms after K2 falls (the box waits 100 ms), and the "
        "voltage across the laser at full power below its working range ≤ 100 ms after it. How "
        "long it takes to wake goes into beam_enable_settle_s."
    )


def _inputs(page: Drawing) -> None:
    page.heading("7  Inputs")
    top = page.y + 34
    page.pole(60, top, "+24 V, F4")
    y = page.contact(60, top, "contact", "as in the list", is_open=False)
    y = page.resistor(60, y, f"{kilo(INPUT_OHM)}, 0.25 W", "4.9 mA wets it")
    y = page.diode(60, y, "isolator", is_light=True)
    page.zero(60, y)
    page.pole(290, top, "3.3 V, header 17")
    page.box(220, top + 68, 140, 44, "isolator", "transistor side")
    page.wire((290, top), (290, top + 68))
    page.text(298, top + 60, "collector", size=11, color=SIGNAL)
    page.text(298, top + 126, "emitter", size=11, color=SIGNAL)
    page.wire((290, top + 112), (290, top + 136))
    page.joint(290, top + 136)
    page.wire((290, top + 136), (384, top + 136))
    page.text(390, top + 141, "GPIO", color=INK)
    end = page.resistor(290, top + 136, f"{kilo(PULL_OHM)}", "to 0 V, header 39")
    page.zero(290, end)
    page.y = max(y, end) + 20
    page.note(
        "One isolator for each input; current transfer 50 % or more. Closed reads high. A cut "
        "wire, a dead isolator and a missing 24 V read low, which is unsafe."
    )
    page.table(
        (LEFT, 166, 350),
        [("in the file", "contact", "GPIO / pin"), *(
            (name, CONTACTS[name], _pins("inputs", name)) for name in names_of("inputs")
        )],
    )  # fmt: skip
    page.note(
        f"Without isolators, inside one enclosure and up to 0.5 m: 3.3 V – contact – "
        f"{kilo(DIRECT_SERIES_OHM)} – GPIO, and {kilo(DIRECT_PULL_OHM)} from the GPIO to 0 V: 1.3 "
        "mA through the contact, 2.9 V at the pin. Gold contacts. Never a wire of the laser or "
        "of 24 V."
    )


def _pins(table: str, name: str) -> str:
    pin = pin_of(table, name)
    return f"{pin} / {HEADER_PINS[pin]}"


def _outputs(page: Drawing) -> None:
    page.heading("7b  Outputs")
    _driver(page, "GPIO", "load", "K2, K4, P1 or P2")
    page.note(
        "MOSFET: N channel, fully on with 2.5 V at its gate, 60 V, 1 A. Coil suppression: a diode "
        "across every direct-current coil, at the coil, its cathode at plus; at KL1 and KL2 with a "
        "24 V Zener diode in series, or they fall late. An alternating-current coil: RC after its "
        "data sheet. K2: force-guided, its 21–22 in the reset path."
    )
    page.table(
        (LEFT, 146, 350),
        [("in the file", "load", "GPIO / pin"), *(
            (name, LOADS[name], _pins("outputs", name)) for name in names_of("outputs")
        )],
    )  # fmt: skip


def _fan(page: Drawing) -> None:
    page.heading("8  Fan, its run-on, air assist")
    top = page.y + 34
    page.pole(60, top, "+24 V, F3")
    y = _chain(
        page, 60, top,
        ("KF", "41–44", "open", "no flame"), ("K3", "31–32", "closed", "beat lost"),
    )  # fmt: skip
    y = page.coil(60, y, "KT1", f"on-delay {FAN_RUNS_ON_AFTER_S:g} s")
    page.zero(60, y)
    page.pole(260, top, "+24 V, F3")
    y = page.contact(260, top, "KT1", terminals="25–28")
    y = page.coil(260, y, "KT2", f"on-delay {RUN_ON_S} s")
    page.zero(260, y)
    top += 3 * 52 + 64
    page.pole(60, top, "+24 V, F3")
    page.joint(60, top + 8)
    page.wire((60, top), (60, top + 16))
    page.wire((60, top + 8), (260, top + 8), (260, top + 16))
    page.contact(60, top + 16, "K4", "“extraction”", terminals="11–14")
    y = page.contact(260, top + 16, "KT1", "run-on begins", terminals="15–18")
    y = page.contact(260, y, "KT2", "run-on ends", terminals="15–16", is_open=False)
    page.wire((60, top + 68), (60, y + 12))
    page.wire((260, y), (60, y))
    page.joint(60, y)
    page.box(LEFT, y + 12, 150, 46, "M1 fan, 24 V", "or coil of KM")
    page.wire((60, y + 58), (60, y + 66))
    page.zero(60, y + 66)
    page.y = y + 88
    page.note(
        "KT1, KT2: timing relays, on-delay. The run-on begins only "
        f"{FAN_RUNS_ON_AFTER_S:g} s after the last heartbeat (a dead computer), not when K4 opens, "
        "so the box’s own fan control is not held up; it ends after "
        f"{RUN_ON_S} s or when the heartbeat is back, and KF forbids it after a flame. A mains "
        "fan: K4 and the run-on switch a contactor KM, with its own fuse."
    )
    top = page.y + 34
    page.pole(60, top, "+24 V, F3")
    y = page.contact(60, top, "K1", "open after a flame, a stop, an open lid", terminals="23–24")
    page.box(LEFT, y, 150, 46, "M2 air assist", "pump or valve, 24 V")
    page.wire((60, y + 46), (60, y + 54))
    page.zero(60, y + 54)
    page.y = y + 76
    page.note(
        "Air assist blows on a flame, so it goes off with the chain. If the controller switches it "
        "as well, its contact lies in series. A mains pump: a contactor behind K1 23–24."
    )


def _minimum(page: Drawing) -> None:
    page.heading("The minimum, and what it lacks")
    top = page.y + 34
    page.pole(60, top, "+24 V, F2")
    y = page.contact(60, top, "S2 lid", terminals="11–12", is_open=False, is_forced=True)
    y = page.contact(60, y, "K2", "beam enable", terminals="13–14")
    y = page.coil(60, y, "KL1", "13–14 in the laser’s", "loop or supply")
    page.zero(60, y)
    page.pole(300, top, "as sheet 7")
    end = page.contact(300, top, "S2 lid", "input “lid”", terminals="21–22", is_open=False)
    page.pole(300, end + 40, "as sheet 8")
    page.contact(300, end + 40, "K4", "fan, no run-on", terminals="11–14")
    page.y = y + 20
    page.note(
        "Not wired here, in the open: no stop circuit, so a stop button must cut the laser by a "
        "wire of its own. No button: opening and shutting the lid shows that somebody is there, "
        "and a shut lid lets K2 close again. No flame detector, no proof of air flow, no "
        "read-back, no heartbeat: a fire, a dead fan, a welded contact and a hung computer go "
        "unnoticed. So the box asks for somebody again and again with every run.",
        color=WARNING,
    )


if __name__ == "__main__":
    FILE.write_text(drawn())
