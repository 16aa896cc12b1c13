"""The small program that drives every output off, against a kernel that only takes notes."""

import subprocess
import sys

import pytest

from etchdaemon import safe
from etchdaemon.configuration.pin_map import Pin, PinMap
from etchdaemon.errors import BoardLost
from etchdaemon.hardware.gpio_lines import Lines
from support.fakes.gpio_kernel import Kernel


@pytest.fixture
def devices(tmp_path):
    folder = tmp_path / "dev"
    folder.mkdir()
    for name in ("gpiochip0", "gpiochip4", "gpiochip11"):
        (folder / name).touch()
    return folder


@pytest.fixture
def kernel():
    return Kernel({"gpiochip0": "expander", "gpiochip4": "pinctrl-rp1", "gpiochip11": "other"})


@pytest.fixture
def lines(devices, kernel):
    return Lines(devices, kernel.ioctl)


PINS = PinMap(
    chip_label="pinctrl-rp1",
    inputs={},
    outputs={"beam_enable": Pin(22), "extraction": Pin(23), "lamp": Pin(27, is_high_on=False)},
)


def test_every_output_is_driven_to_its_off_level(lines, kernel):
    chip = lines.chip_called("pinctrl-rp1")

    lines.drive_off(chip, list(PINS.outputs.values()))

    assert kernel.driven == {22: False, 23: False, 27: True}


def test_a_chip_is_found_by_its_label_wherever_it_is_numbered(lines):
    assert lines.chip_called("other").path.name == "gpiochip11"


def test_a_label_that_is_not_there_is_refused_with_those_that_are(lines):
    with pytest.raises(BoardLost, match="“expander”, “pinctrl-rp1”, “other”"):
        lines.chip_called("pinctrl-bcm2711")


def test_a_chip_that_cannot_be_asked_is_left_out(devices):
    def refuse(descriptor, number, data):
        raise OSError(25, "Inappropriate ioctl for device")

    assert list(Lines(devices, refuse).chips()) == []


def test_one_busy_line_does_not_keep_the_others_on(devices, capsys):
    kernel = Kernel({"gpiochip0": "a", "gpiochip4": "pinctrl-rp1", "gpiochip11": "b"}, busy={23})
    path = devices.parent / "pins.json"
    PINS.write(path)

    code = safe.main([str(path)], lines=Lines(devices, kernel.ioctl))

    assert code == 1
    assert kernel.driven == {22: False, 27: True}
    assert "extraction (pin 23) could not be driven off" in capsys.readouterr().out


def test_a_broken_configuration_still_gives_its_outputs(devices, kernel, lines):
    path = devices.parent / "left.toml"
    path.write_text(
        "[board]\nchip = 'pinctrl-rp1'\n[inputs.lidd]\npin = 'x'\n"
        f"[laser]\nbeam_enable_settle_s = {10**30}\n[outputs.horn]\npin = {2**32}\n"
        "[outputs.beam_enable]\npin = 22\nactive = 'low'\n[outputs]\nlamp = 4\n"
    )

    assert safe.main([str(path)], lines=lines) == 0
    assert kernel.driven == {22: True}


def test_a_map_that_cannot_be_read_does_not_stop_the_next_one(devices, kernel, lines):
    missing, path = devices.parent / "none.json", devices.parent / "pins.json"
    PINS.write(path)

    assert safe.main([str(missing), str(path)], lines=lines) == 0
    assert kernel.driven[22] is False


@pytest.mark.parametrize("text", ["", "[]", "{}", "null", '{"format": "etchwarden-pins"}', "\x00"])
def test_nonsense_instead_of_a_map_is_said_and_is_a_failure(tmp_path, text, capsys):
    path = tmp_path / "pins.json"
    path.write_text(text)

    assert safe.main([str(path)]) == 1
    assert "No pin map could be read" in capsys.readouterr().out


def test_a_computer_without_the_chip_is_a_failure(tmp_path, capsys):
    path = tmp_path / "pins.json"
    PINS.write(path)

    assert safe.main([str(path)], lines=Lines(tmp_path)) == 1
    assert "no GPIO chip “pinctrl-rp1”" in capsys.readouterr().out


def test_it_is_a_program_of_its_own_that_loads_neither_gpiozero_nor_the_daemon():
    listing = "import sys, etchdaemon.safe; print(*sorted(sys.modules))"
    loaded = subprocess.run(
        [sys.executable, "-c", listing], capture_output=True, text=True, check=True
    ).stdout.split()

    heavy = {"gpiozero", "lgpio", "serial", "sqlite3", "socket", "etchdaemon.service"}
    assert not heavy & set(loaded)


def test_without_files_it_says_how_it_is_used(capsys):
    assert safe.main([]) == 2
    assert "usage: etchwarden-safe" in capsys.readouterr().out
