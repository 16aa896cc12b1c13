"""What the daemon's unit runs after any death, by its own line: every output is driven off."""

import json
import re
import tomllib
from pathlib import Path
from pkgutil import resolve_name

import pytest

from etchdaemon.configuration.pin_map import Pin, PinMap
from etchdaemon.hardware.gpio_lines import Lines
from support.fakes.gpio_kernel import Kernel
from support.harnesses.install_bench import BOARD, ROOT

IN_ORDER = "[board]\nchip = 'pinctrl-rp1'\n[outputs]\nbeam_enable = {pin = 22}\nlamp = {pin = 23}\n"
PINS = PinMap(chip_label="pinctrl-rp1", inputs={}, outputs={"beam_enable": Pin(22)})


class DeadDaemon:
    """A board after its daemon's death: a folder with the unit's places, and a kernel."""

    def __init__(self, folder):
        self.folder = folder
        self.kernel = Kernel({"gpiochip0": "pinctrl-rp1"})
        (folder / "dev").mkdir()
        (folder / "dev/gpiochip0").touch()
        for place in ("run/etchwarden/left", "etc/etchwarden"):
            (folder / place).mkdir(parents=True)

    def write_file(self, text):
        (self.folder / "etc/etchwarden/left.toml").write_text(text)

    def write_map(self):
        """Write the map as the daemon does when it starts, into its working folder."""
        PINS.write(self.folder / "run/etchwarden/left/pins.json")

    def run_the_units_line(self):
        unit = BOARD["etchwarden-daemon@.service"].decode().replace("\\\n", " ")
        program, *files = re.search(r"^ExecStopPost=(.*)$", unit, re.MULTILINE)[1].split()
        files = [
            str(self.folder / file.replace("%i", "left").replace("%t", "/run").lstrip("/"))
            for file in files
        ]
        scripts = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["scripts"]
        main = resolve_name(scripts[Path(program).name])
        return main(files, lines=Lines(self.folder / "dev", self.kernel.ioctl))


@pytest.fixture
def dead(tmp_path):
    return DeadDaemon(tmp_path)


def test_with_its_file_alone_every_output_is_driven_off(dead):
    dead.write_file(IN_ORDER)

    code = dead.run_the_units_line()

    assert (code, dead.kernel.driven) == (0, {22: False, 23: False})


@pytest.mark.parametrize(
    "text", ["", "\0\0\0", "[board]\nchip = 'pinc", "[outputs]\nlamp = {pin = "]
)
def test_while_its_file_is_half_edited_what_was_driven_is_driven_off(dead, text):
    dead.write_file(text)
    dead.write_map()

    dead.run_the_units_line()

    assert dead.kernel.driven == {22: False}


def test_without_its_file_what_was_driven_is_driven_off(dead):
    dead.write_map()

    code = dead.run_the_units_line()

    assert (code, dead.kernel.driven) == (0, {22: False})


def test_a_mark_that_an_editor_puts_first_does_no_harm(dead):
    dead.write_file(f"\ufeff{IN_ORDER}")

    code = dead.run_the_units_line()

    assert (code, dead.kernel.driven) == (0, {22: False, 23: False})


def test_a_machine_that_is_not_known_at_all_is_told_as_a_failure(dead, capsys):
    code = dead.run_the_units_line()

    assert code == 1
    assert "no output was driven" in capsys.readouterr().out


def test_the_map_is_the_one_that_the_daemon_writes_into_its_working_folder():
    unit = BOARD["etchwarden-daemon@.service"].decode()
    folder = re.search(r"^WorkingDirectory=(.*)$", unit, re.MULTILINE)[1]

    assert f"Environment=LG_WD={folder}\n" in unit
    assert f"etchwarden-safe {folder}/pins.json" in unit
    assert json.loads(PINS.to_json())["outputs"] == {"beam_enable": [22, True]}
