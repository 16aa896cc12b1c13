"""Eight bytes that two processes agree on."""

import subprocess
import sys

import pytest

from etchwire.simulated_time import SimulatedTime


def test_the_practice_machine_starts_at_zero(tmp_path):
    with SimulatedTime.create(tmp_path / "clock") as clock:
        assert clock.now_s == 0.0


@pytest.mark.parametrize("now_s", [0.0, 0.001, 1.0, 43_200.123456789, 1e9])
def test_what_one_sets_the_other_reads_to_the_last_digit(tmp_path, now_s):
    path = tmp_path / "clock"
    with SimulatedTime.create(path) as set_here, SimulatedTime(path) as read_there:
        set_here.now_s = now_s

        assert read_there.now_s == now_s


def test_another_process_reads_the_same_time(tmp_path):
    script = (
        "import pathlib, sys; from etchwire.simulated_time import SimulatedTime;"
        "print(SimulatedTime(pathlib.Path(sys.argv[1])).now_s)"
    )
    with SimulatedTime.create(tmp_path / "clock") as clock:
        clock.now_s = 12.75
        printed = subprocess.run(
            [sys.executable, "-c", script, tmp_path / "clock"],
            capture_output=True, text=True, check=True,
        )  # fmt: skip

    assert float(printed.stdout) == 12.75


def test_switching_on_again_starts_from_zero(tmp_path):
    with SimulatedTime.create(tmp_path / "clock") as clock:
        clock.now_s = 99.0

    with SimulatedTime.create(tmp_path / "clock") as clock:
        assert clock.now_s == 0.0


def test_a_practice_machine_that_is_not_there_has_no_time(tmp_path):
    with pytest.raises(FileNotFoundError):
        SimulatedTime(tmp_path / "clock")


def test_a_reader_never_finds_itself_at_a_time_that_was_not_set(tmp_path):
    script = (
        "import pathlib, sys; from etchwire.simulated_time import SimulatedTime\n"
        "clock = SimulatedTime(pathlib.Path(sys.argv[1]))\n"
        "for _ in range(100_000): clock.now_s = 1e9"
    )
    with SimulatedTime.create(tmp_path / "clock") as clock:
        clock.now_s = 1e9
        with subprocess.Popen([sys.executable, "-c", script, tmp_path / "clock"]) as setter:
            read = set()
            while setter.poll() is None:
                read.update(clock.now_s for _ in range(1000))

    assert read == {1e9}
