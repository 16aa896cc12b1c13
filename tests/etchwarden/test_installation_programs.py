"""What a person reads when a program that the installation needs ends with an error."""

import sys

import pytest

from etchwarden.installation.advice import boot_advice, font_advice
from etchwarden.installation.errors import StepFailed
from etchwarden.installation.programs import run

# Words as the programs say them: of Debian 12's and 13's venv without its package, of pip 23 to 26
# without a network, and the system's own of a full card.
TROUBLES = [
    ("The virtual environment was not created … because ensurepip is not", "apt install"),
    ("/usr/bin/python3: No module named venv", "apt install python3-venv"),
    ("NameResolutionError(<pip>): Failed to resolve 'somewhere'", "--wheelhouse"),
    ("NewConnectionError: [Errno 101] Network is unreachable", "Connect the board to the internet"),
    ("ERROR: Could not install packages due to an OSError: No space left on device", "is full"),
]  # fmt: skip


SAY = "import sys; sys.exit(chr(10).join(sys.argv[1:]))"


def ended_with(*lines):
    with pytest.raises(StepFailed) as failed:
        run([sys.executable, "-c", SAY, "called", *lines])
    return str(failed.value)


@pytest.mark.parametrize(("words", "advice"), TROUBLES)
def test_trouble_that_is_known_is_told_with_what_to_do_alone(words, advice):
    said = ended_with(words)

    assert advice in said
    assert words not in said


def test_other_trouble_is_told_in_the_programs_last_words():
    said = ended_with(*(f"line {number}" for number in range(30)))

    assert said.endswith("line 29")
    assert "line 17\n" not in said


def test_a_program_that_is_not_there_is_named():
    with pytest.raises(StepFailed, match="/nowhere/program cannot be run"):
        run(["/nowhere/program"])


@pytest.fixture
def boot(tmp_path):
    (tmp_path / "boot/firmware").mkdir(parents=True)
    return tmp_path / "boot/firmware"


def test_lines_that_the_boot_files_lack_are_told(boot, tmp_path):
    (boot / "config.txt").write_bytes(b"# dtparam=strict_gpiod\n\xff\n")
    (boot / "cmdline.txt").write_bytes(b"root=x \xff\n")

    told = list(boot_advice(tmp_path))

    assert ["strict_gpiod" in told[0], "cgroup_enable=memory" in told[1]] == [True, True]


def test_boot_files_in_order_or_away_ask_for_nothing(boot, tmp_path):
    (boot / "config.txt").write_text("dtparam=strict_gpiod  # relays\n")
    (boot / "cmdline.txt").write_text("root=x cgroup_enable=memory\n")

    assert list(boot_advice(tmp_path)) == []
    assert list(boot_advice(tmp_path / "elsewhere")) == []


def test_a_boot_file_that_is_none_is_passed_over(boot, tmp_path):
    (boot / "config.txt").mkdir()
    (tmp_path / "boot/config.txt").write_text("\n")

    (told,) = boot_advice(tmp_path)

    assert "/boot/config.txt" in told


def test_a_board_without_a_font_is_told_of_one_for_lettering(tmp_path):
    (told,) = font_advice(tmp_path)
    assert "fonts-dejavu-core" in told

    font = tmp_path / "usr/share/fonts/truetype/dejavu/DejaVuSans.ttf"
    font.parent.mkdir(parents=True)
    font.touch()

    assert list(font_advice(tmp_path)) == []
