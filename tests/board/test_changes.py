"""Installing, updating and taking away on a booted board, cut short wherever that can happen."""

import re
import shutil
import subprocess
import sys

import pytest

from board.conftest import require_clean_journal
from board.shop import CHECKOUT, DAEMON, PAGE, type_command
from etchwarden.installation.change import STEPS
from support.harnesses.install_bench import ROOT, build_wheel

NEWER, BROKEN = "0.2.0", "0.3.0"
WHEELS = "/home/shop/wheels"
# What a change can be cut at and still has to do; the first only looks.
CUT_AT = [step.sentence for step in STEPS if step.name != "look"]
CUT_OFF_AT = ("release", "backup", "switch", "files", "start", "check")
DIES = "raise SystemExit('This release is broken on purpose.')\n"
# What stays after taking away: records, settings, users, and what the system writes of its own.
STAYS = re.compile(
    r"^/(var/(lib/etchwarden|log|cache|lib/systemd|lib/dbus|tmp)|etc/etchwarden|home|root|run|tmp"
    r"|etc/(passwd|group|shadow|gshadow|subuid|subgid|machine-id|\.pwd\.lock|\.updated|resolv\.conf"
    r"|hostname|hosts|localtime|mtab|ld\.so\.cache))"
)
TESTS_OWN = re.compile(r"/etc/systemd/system/(practice-machine|etchwarden-daemon@left\.service\.d)")


@pytest.fixture(scope="session")
def wheels(tmp_path_factory):
    """Wheels of this version, of a newer one, and of a newer one whose programs do not start."""
    folder = tmp_path_factory.mktemp("wheels")
    this = build_wheel(folder)
    newer = build_version(folder, NEWER, {})
    broken = build_version(folder, BROKEN, {"daemon/etchdaemon/assembly.py": DIES})
    return {"this": this, "newer": newer, "broken": broken}


def build_version(folder, version, changes):
    sources = folder / version
    shutil.copytree(
        ROOT, sources, ignore=shutil.ignore_patterns(".git", "tests", ".*cache", "__pycache__")
    )
    project = sources / "pyproject.toml"
    text = re.sub(
        r'^version = ".*"$', f'version = "{version}"', project.read_text(), flags=re.MULTILINE
    )
    project.write_text(text)
    for name, content in changes.items():
        (sources / name).write_text(content)
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation",
         "--disable-pip-version-check", "--wheel-dir", folder, sources],
        check=True,
    )  # fmt: skip
    return folder / f"etchwarden-{version}-py3-none-any.whl"


def bring(board, wheel):
    """Put a wheel on the board, as from a memory stick; return where it lies."""
    folder = board.root / WHEELS.lstrip("/")
    folder.mkdir(exist_ok=True)
    shutil.copy(wheel, folder)
    return f"{WHEELS}/{wheel.name}"


def test_an_installation_killed_at_each_of_its_steps_is_finished_by_running_it_again(
    new_board, wheels
):
    wheel = bring(new_board, wheels["this"])
    command = [f"{CHECKOUT}/systemd/install", "--yes", f"--wheel={wheel}"]
    for sentence in CUT_AT:
        new_board.cut_command_at(sentence, command)

    said = new_board.run(*command)

    assert "Installed." in said
    assert "WRONG" not in new_board.run("etchwarden", "doctor", is_checked=False)
    new_board.until(lambda: new_board.is_active(PAGE), "the page")


def test_an_update_to_a_newer_release_keeps_the_records_and_both_units_are_up(board, wheels):
    wheel = bring(board, wheels["newer"])

    said = type_command(board, f"sudo etchwarden update {wheel}")

    assert f"Etchwarden {NEWER} is in use." in said
    board.until(lambda: both_are_up(board), "both units")
    assert version(board) == NEWER


def test_a_broken_release_is_gone_back_from_by_itself(board, wheels):
    before = version(board)
    wheel = bring(board, wheels["broken"])

    said = board.run("etchwarden", "update", wheel, is_checked=False)

    assert "Going back to" in said, said
    board.until(lambda: both_are_up(board), "both units")
    assert version(board) == before


def test_an_update_cut_off_with_the_power_at_any_step_leaves_a_board_that_works(board, wheels):
    command = ["etchwarden", "update", bring(board, wheels["newer"])]
    for step in STEPS:
        if step.name in CUT_OFF_AT:
            board.begin(step.sentence, command)
            board.cut_off()
            board.switch_on()
            board.until(lambda: both_are_up(board), f"both units after a cut at “{step.sentence}”")

    said = board.run(*command)

    assert f"Etchwarden {NEWER} is in use." in said
    board.until(lambda: both_are_up(board), "both units")
    assert version(board) == NEWER


def test_taking_it_away_leaves_records_and_settings_only(board):
    require_clean_journal(board)

    said = board.run(f"{CHECKOUT}/systemd/install", "--uninstall", "--yes")

    left = [path for path in files_since_bare(board) if not STAYS.match(path)]
    assert "Taken away." in said
    assert [path for path in left if not TESTS_OWN.match(path)] == []
    assert board.path("/var/lib/etchwarden/left/logbook.sqlite3").exists()
    assert board.path("/etc/etchwarden/left.toml").exists()


def test_taking_it_away_twice_succeeds(board):
    command = (f"{CHECKOUT}/systemd/install", "--uninstall", "--yes")
    board.run(*command)

    assert "Taken away." in board.run(*command)


def both_are_up(board):
    return board.is_active(DAEMON) and board.is_active(PAGE)


def version(board):
    return board.run("etchwarden", "--version").split()[-1]


def files_since_bare(board):
    """Return what lies on the board that was not there before the installation."""
    script = "find / -xdev -newer /etc/sudoers.d/shop \\( -type f -o -type l \\) -printf '%p\\n'"
    return board.run("sh", "-c", script).splitlines()
