"""`etchwarden configure`: what it asks, what it writes, and that every entry is explained there."""

import os
import re
import subprocess
import sys
import tempfile
from dataclasses import fields
from pathlib import Path

import pytest
from click.testing import CliRunner

from etchdaemon.configuration import loading
from etchdaemon.configuration.loading import load_configuration, read_configuration
from etchdaemon.hardware.serial_port import NO_PORT_NAMED
from etchdaemon.interlocks.checks.wiring_gaps import wiring_gaps
from etchdaemon.interlocks.inputs import Input, Output
from etchdaemon.interlocks.rules.rule_table import MAY_DELAY, RULES
from etchwarden.commands import configure
from etchwarden.configuring.entries import SECTIONS
from etchwarden.configuring.questions import answers_of_person
from etchwarden.configuring.writing import written
from etchwarden.selfcheck.machine_checks import SAFE_OUTPUTS
from etchwarden.shared.heads import find_head
from etchwarden.shared.wiring_drawing import DRAWING
from etchwire.catalogue.heads import Head, Register
from etchwire.configuration.faults import FaultyConfiguration, Reason
from etchwire.configuration.source import Source

ROOT = Path(__file__).resolve().parents[2]
ANSWERS = """
[machine]
port = "/dev/serial/by-id/usb-77"
[head]
name = "ten watts"
rated_optical_w = 10
spot_x_mm = 0.08
spot_y_mm = 0.06
max_s = 1000
max_feed_mm_per_min = 6000
acceleration_mm_per_s2 = 500
travel_x_mm = 400
travel_y_mm = 390.5
[board]
chip = "pinctrl-rp1"
[inputs]
lid = 16
[outputs]
beam_enable = 22
extraction = 23
"""
# What a person types: return where it may be empty.
TYPED = ["/dev/serial/by-id/usb-77", "", "pinctrl-rp1", "sixteen", "16", *[""] * 9, "22", "23",
         "", "", "", "2,5"]  # fmt: skip


class Recorder(dict):
    """A table that remembers what was asked of it, down to its own tables."""

    def __init__(self, values, where, asked):
        super().__init__(
            (name, Recorder(value, f"{where}{name}.", asked) if isinstance(value, dict) else value)
            for name, value in values.items()
        )
        self._where, self._asked = where, asked

    def get(self, name, otherwise=None):
        self._asked.add(f"{self._where}{name}")
        return super().get(name, otherwise)


@pytest.fixture
def run(tmp_path):
    def run(*arguments, typed=()):
        return CliRunner().invoke(
            configure.command,
            ["left", "--folder", str(tmp_path), *map(str, arguments)],
            input="".join(f"{line}\n" for line in typed),
        )

    return run


@pytest.fixture
def answered(run, tmp_path):
    def answered(text=ANSWERS):
        (tmp_path / "answers").write_text(text)
        return run("--answers", tmp_path / "answers")

    return answered


def with_everything(text):
    """Take the # from every entry and table that is commented out."""
    return re.sub(r"^# (?=\[[\w.]+\]$|\w+ = \S)", "", text, flags=re.MULTILINE)


def test_a_person_is_asked_again_where_an_answer_is_unfit(run, tmp_path):
    done = run(typed=TYPED)

    read = load_configuration(tmp_path / "left.toml")
    assert done.exit_code == 0, done.output
    assert "“sixteen”" in done.output
    assert (read.port, read.pins.inputs["lid"].number) == ("/dev/serial/by-id/usb-77", 16)
    assert (read.head, read.setup.beam_enable_settle_s) == (None, 2.5)


NOBODY = 65534
PORT, CHIP = "/dev/serial/by-id/usb-77", "pinctrl-rp1"
# By place in what is asked: an answer that does not fit, and what is said of it.
UNFIT_ANSWERS = [
    ([], "ttyUSB0", "a port is a path"),
    ([PORT, "ten"], "-10", "above zero"),
    ([PORT, "ten"], "nan", "has to be a number"),
    ([PORT, "ten"], "1e999", "has to be a number"),
    ([PORT, "ten", "10", "0.08", "0.06"], "perhaps", "yes or no"),
    ([PORT, ""], "\x1b[Apinctrl-rp1", "write nothing"),
    ([PORT, "", CHIP], "-1", "from 0 to 53"),
    ([PORT, "", CHIP], "54", "from 0 to 53"),
    ([PORT, "", CHIP, "16"], "16", "pin 16 is already"),
    ([PORT, "", CHIP, "16", "17", "18"], "19", "either the air-flow switch"),
    ([PORT, "", CHIP, *[""] * 15], "-1", "from 0 to 60"),
]


@pytest.mark.parametrize(("before", "unfit", "said"), UNFIT_ANSWERS)
def test_an_unfit_answer_is_asked_for_again_at_once_and_no_other_is_lost(before, unfit, said):
    typed, heard = iter([*before, unfit]), []

    def ask(question, default):
        try:
            return next(typed)
        except StopIteration:
            raise EOFError(question) from None

    with pytest.raises(EOFError) as stuck:
        answers_of_person(ask, heard.append)

    assert said in heard[-1]
    asked_again = str(stuck.value)
    typed, questions = iter([*before, unfit]), []
    with pytest.raises(EOFError):
        answers_of_person(lambda *asked: (questions.append(asked[0]), ask(*asked))[1], heard.append)
    assert questions[-2:] == [asked_again, asked_again]


def test_half_of_a_pressure_window_is_asked_for_again_in_the_end(run, tmp_path):
    window = ["", "", "", "18", "", *[""] * 9, ""]  # no lid, …, above the low limit alone

    done = run(typed=[PORT, "", CHIP, *window, "", "18", "19"])

    assert "both switches" in done.output
    assert set(load_configuration(tmp_path / "left.toml").pins.inputs) \
        == {"pressure_above_low", "pressure_below_high"}  # fmt: skip


def test_a_port_may_be_named_by_its_number_and_the_only_one_by_nothing():
    defaults = []

    def ask(question, default):
        defaults.append(default)
        return "2" if question.startswith("Which serial port") else default or ""

    two = answers_of_person(ask, print, ["/dev/one", "/dev/two"])
    one = answers_of_person(lambda _question, default: default or "", print, ["/dev/one"])

    assert (two["machine.port"], one["machine.port"]) == ("/dev/two", "/dev/one")
    assert defaults[0] is None


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can be somebody else for a moment")
@pytest.mark.parametrize("mode", [0o755, 0o700], ids=["seen", "shut"])
def test_whoever_may_not_write_is_told_before_the_questions(mode):
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(mode)
        os.seteuid(NOBODY)
        try:
            done = CliRunner().invoke(configure.command, ["left", "--folder", folder])
        finally:
            os.seteuid(0)

    assert done.exit_code == 1
    assert "Use sudo" in done.output
    assert "Which" not in done.output


def test_enter_alone_is_told_what_is_wanted(run):
    done = run(typed=["", PORT, "", "", ""])

    assert done.exit_code == 0, done.output
    assert 'with such as "/dev/serial/by-id/usb-EXAMPLE" or “later”' in done.output


@pytest.mark.parametrize("later", ["later", " Later"])
def test_with_no_cable_in_the_port_is_named_later_and_the_file_is_in_order(run, tmp_path, later):
    done = run(typed=[later, "", "", ""])

    assert done.exit_code == 0, done.output
    assert NO_PORT_NAMED in done.output
    assert load_configuration(tmp_path / "left.toml").port == ""
    checked = run("--check")
    assert (checked.exit_code, NO_PORT_NAMED in checked.output) == (0, True)


def test_the_port_may_be_put_off_in_a_file_of_answers(answered, tmp_path):
    done = answered(ANSWERS.replace("/dev/serial/by-id/usb-77", "later"))

    assert done.exit_code == 0, done.output
    assert load_configuration(tmp_path / "left.toml").port == ""


@pytest.mark.parametrize("before", [[], [PORT, "ten"]], ids=["the port", "the laser's watts"])
def test_a_pipe_of_line_ends_is_no_answer_and_nothing_is_written(run, tmp_path, before):
    done = run(typed=[*before, *[""] * 50])

    assert done.exit_code == 1
    assert "3 empty lines" in done.output
    assert list(tmp_path.iterdir()) == []


def test_a_person_at_a_terminal_may_press_enter_as_often_as_they_like(tmp_path):
    keys, terminal = os.openpty()
    command = [sys.executable, "-m", "etchwarden", "configure", "left", "--folder", str(tmp_path)]
    with subprocess.Popen(command, stdin=terminal, stdout=subprocess.DEVNULL) as asking:
        os.write(keys, b"\n" * 5 + b"later\n\n\n\n")

        assert asking.wait() == 0

    os.close(keys)
    os.close(terminal)
    assert (tmp_path / "left.toml").exists()


def test_whoever_gives_up_has_written_nothing(run, tmp_path):
    done = run(typed=[PORT, "", CHIP, "16"])

    assert done.exit_code == 1
    assert list(tmp_path.iterdir()) == []


def test_answers_may_come_from_a_file(answered, tmp_path):
    done = answered()

    read = load_configuration(tmp_path / "left.toml")
    assert done.exit_code == 0, done.output
    assert read.head is not None
    assert (read.head.name, read.head.travel_y_mm) == ("ten watts", 390.5)
    assert {name: pin.number for name, pin in read.pins.outputs.items()} \
        == {"beam_enable": 22, "extraction": 23}  # fmt: skip


def test_the_other_commands_take_the_laser_from_the_machines_file(answered, tmp_path):
    answered()

    assert find_head(str(tmp_path / "left.toml")).rated_optical_w == 10.0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("lid = 16", "lit = 16"), "Did you mean “inputs.lid”?"),
        (("lid = 16", "lid = 22"), "pin 22 is already"),
        (("lid = 16", 'lid = "sixteen"'), "has to be a pin"),
        (("travel_x_mm = 400", ""), "“head.travel_x_mm” is not answered"),
        (("port = ", "prt = "), "Did you mean “machine.port”?"),
        (("/dev/serial/by-id/usb-77", "ttyUSB0"), "a port is a path"),
    ],
)
def test_an_unfit_answer_is_named_and_nothing_is_written(answered, tmp_path, change, said):
    done = answered(ANSWERS.replace(*change))

    assert done.exit_code == 1
    assert said in done.output
    assert not (tmp_path / "left.toml").exists()


def test_a_file_that_is_there_is_not_overwritten(answered, tmp_path):
    (tmp_path / "left.toml").write_text("mine")

    done = answered()

    assert done.exit_code == 1
    assert (tmp_path / "left.toml").read_text() == "mine"


def test_the_old_file_is_kept_when_it_is_replaced(run, tmp_path):
    (tmp_path / "left.toml").write_text("mine")
    (tmp_path / "answers").write_text(ANSWERS)

    run("--replace", "--answers", tmp_path / "answers")

    assert (tmp_path / "left.toml.old").read_text() == "mine"
    assert load_configuration(tmp_path / "left.toml").port


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"", "is empty"), (b"\x89PNG\xff", "not text"), (b"[inputs]\nlid = {pin = \n[x", "line 2"),
     (b"[inputs]\nlit = {pin = 3}", "Did you mean “lid”?")],
)  # fmt: skip
def test_a_file_that_cannot_be_used_is_refused_with_the_reason(run, tmp_path, content, said):
    (tmp_path / "left.toml").write_bytes(content)

    done = run("--check")

    assert done.exit_code == 1
    assert said in done.output


@pytest.mark.parametrize("name", ["page", "Left", "../x", "a b"])
def test_a_name_that_is_none_is_refused(name, tmp_path):
    done = CliRunner().invoke(configure.command, [name, "--folder", str(tmp_path)])

    assert done.exit_code == 2


def test_a_file_without_answers_can_be_read_and_only_watches():
    assert not read_configuration(written("left", {})).setup.wired


def test_every_entry_that_is_written_is_one_that_is_read():
    with pytest.raises(FaultyConfiguration) as refused:  # both ways to show air flow at once
        read_configuration(with_everything(written("left", {})))

    reasons = {fault.reason for fault in refused.value.faults}
    assert reasons == {Reason.PIN_TWICE, Reason.TWO_PROOFS_OF_AIR}


def test_every_entry_that_is_read_is_explained_in_the_file():
    text = with_everything(written("left", {}))
    asked = set()
    with pytest.raises(FaultyConfiguration):
        loading.configuration_of(Recorder(Source.of(text).values, "", asked))
    # In all circuits and lamps, and in all rules, the same entries: explained once.
    once = {"pin", "closed", "normally", "active", "off", "trip_delay_s", "because"}
    tables = {key for key in asked if any(other.startswith(f"{key}.") for other in asked)}

    for key in asked - tables:
        name = key.rpartition(".")[2]
        is_explained = f"[{key}]" in text or re.search(rf"^{name} = ", text, re.MULTILINE)
        assert name in once or is_explained, key
    assert all(name in written("left", {}) for name in once - {"off"})
    # A table of its own; what is asked of the controller; what follows from what is written.
    unasked = {"register", "controller", "is_spot_stated"}
    assert {entry.name for kind in (Head, Register) for entry in fields(kind)} - unasked \
        <= set(re.findall(r"^(\w+) = ", text, re.MULTILINE))  # fmt: skip


def test_the_rules_that_may_wait_are_explained_in_the_file():
    names = {rule.name.replace(" ", "_") for rule in RULES if rule.requires in MAY_DELAY}

    assert set(re.findall(r"^# \[rules\.(\w+)\]$", written("left", {}), re.MULTILINE)) == names


@pytest.mark.parametrize("arguments", [[], ["--check"]], ids=["written", "checked"])
def test_everything_that_is_not_wired_is_said_with_the_drawing(answered, run, arguments):
    done = answered()
    if arguments:
        done = run(*arguments)

    wired = {Input.LID, Output.BEAM_ENABLE, Output.EXTRACTION}
    said = [lack.sentence for lack in wiring_gaps(wired)]
    assert [sentence for sentence in said if f"Not wired: {sentence}" not in done.output] == []
    assert str(DRAWING) in done.output
    assert DRAWING.is_file()


def proposed_pins(table):
    """Return the pin that the file proposes for each contact of `table`, by its name."""
    section = next(section for section in SECTIONS if section.name == table)
    return {entry.name: int(re.sub(r"\D", "", entry.example)) for entry in section.entries}


def test_outputs_are_proposed_on_the_pins_that_the_manual_and_the_self_check_ask_for():
    first, last = SAFE_OUTPUTS[0], SAFE_OUTPUTS[-1]

    assert set(proposed_pins("outputs").values()) <= set(SAFE_OUTPUTS)
    assert f"GPIO {first} to {last}" in (ROOT / "daemon/WIRING.md").read_text()


def test_no_pin_is_proposed_twice_but_for_the_two_proofs_of_air():
    pins = [*proposed_pins("inputs").values(), *proposed_pins("outputs").values()]

    assert proposed_pins("inputs")["air_flow"] == proposed_pins("inputs")["pressure_above_low"]
    assert len(pins) - len(set(pins)) == 1


def test_no_proposed_pin_is_one_that_the_computer_moves_or_pulls_up_by_itself():
    pins = {*proposed_pins("inputs").values(), *proposed_pins("outputs").values()}

    # GPIO 0 to 8 are pulled up at power-on (BCM2835 ARM Peripherals, p. 102); 9 to 11 are the
    # SPI bus of the header, 14 and 15 its serial console (from memory).
    assert pins <= {12, 13, *range(16, 28)}
