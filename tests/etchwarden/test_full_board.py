"""A board whose card is full: updating it, serving its page, asking for help."""

import os
import re
import subprocess
import sys

import pytest
from click.testing import CliRunner

from etchdaemon.logbook.logbook import Logbook
from etchwarden.__main__ import main
from etchwarden.installation.errors import InstallationError
from etchwarden.installation.paths import Places
from etchwarden.installation.releases import Releases
from etchwarden.selfcheck.machine_look import look_at_machine
from support.fakes.memory_storage import memory_card
from support.harnesses.install_bench import Bench, BootingBoard, paper_wheel
from support.harnesses.logbooks import OPENED_UTC, start_run

pytestmark = pytest.mark.slow


@pytest.fixture
def card(tmp_path):
    with memory_card(tmp_path / "card") as card:
        yield card


@pytest.mark.tries_writing("etchwarden/commands/doctor.py")
def test_the_bundle_for_help_is_whole_or_not_there(card, tmp_path):
    words = ["doctor", "--root", tmp_path / "nowhere", "--bundle", card.folder / "bundle.json"]
    card.fill()

    done = CliRunner().invoke(main, list(map(str, words)))

    assert done.exit_code == 1
    assert "cannot be written: No space left on device." in done.output
    assert card.files() == []
    card.make_room()
    assert "Written to" in CliRunner().invoke(main, list(map(str, words))).output


@pytest.mark.tries_writing("etchwarden/commands/page.py", "etchweb/site.py")
def test_a_page_cannot_be_served_from_a_card_without_room_for_its_store(card, tmp_path):
    card.fill()

    ended = subprocess.run(
        [sys.executable, "-m", "etchwarden", "page", "--daemon", "none", "--port", "0",
         "--folder", card.folder / "another"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert ended.returncode == 1
    assert re.fullmatch(r"Error: .*no room left.*\.\n", ended.stderr)


@pytest.mark.tries_writing(
    "etchwarden/selfcheck/board_look.py", "etchwarden/selfcheck/machine_look.py"
)
def test_a_sound_logbook_that_cannot_be_copied_for_a_look_is_not_called_damaged(card):
    places = Places(card.folder)
    book = places.records / "left" / "logbook.sqlite3"
    book.parent.mkdir(parents=True)
    with Logbook.at(book, utc_now=lambda: OPENED_UTC) as logbook:
        start_run(logbook)
    card.fill()

    found = look_at_machine("left", places)

    assert found.book is None
    assert "no room left" in found.book_is_unread
    card.make_room()
    assert look_at_machine("left", places).book == "ok"


@pytest.mark.tries_writing(
    "etchpractice/process.py",
    "etchpractice/link/pty_port.py",
    "etchwarden/practice_session/process_group.py",
    "etchwarden/commands/practice.py",
    "etchwarden/practice_session/process_stage.py",
    "etchwarden/practice_session/scenario_alerts.py",
    "etchwarden/practice_session/scenario_job.py",
    "etchwarden/practice_session/session.py",
)
def test_practice_in_a_folder_for_passing_files_on_that_is_full_says_so(card):
    card.fill(40 * 4096)

    ended = subprocess.run(
        [sys.executable, "-m", "etchwarden", "practice", "--once", "--width", "20"],
        capture_output=True, text=True, check=False, env=os.environ | {"TMPDIR": card.folder},
    )  # fmt: skip

    assert ended.returncode == 1
    assert ended.stderr.endswith(
        "Error: There is no room left in the box's storage; make room and try again.\n"
    )
    assert card.files() == []


@pytest.mark.tries_writing(
    "etchwarden/installation/building.py", "etchwarden/installation/releases.py"
)
@pytest.mark.parametrize("leave_bytes", [0, 40_000])
def test_an_environment_that_finds_no_room_leaves_nothing_of_itself(card, tmp_path, leave_bytes):
    places = Places(card.folder / "root")
    card.fill(leave_bytes)

    with pytest.raises((InstallationError, OSError)) as failed:
        Releases(places).make(paper_wheel(tmp_path / "wheel"))

    assert str(failed.value)
    assert card.files() == []


@pytest.mark.tries_writing(
    "etchwarden/installation/keeping.py",
    "etchwarden/installation/file_layout.py",
    "etchwarden/installation/undisturbed.py",
    "etchwarden/installation/unfinished.py",
)
@pytest.mark.parametrize("leave_bytes", [0, 4096, 16_384, 65_536])
def test_without_room_for_another_release_the_one_that_is_used_stays_whole(
    card, tmp_path, leave_bytes
):
    places = Places(card.folder / "root")
    bench = Bench(card.folder, BootingBoard(places))
    places.settings.mkdir(parents=True)
    (places.settings / "left.toml").touch()
    bench.board.book.parent.mkdir(parents=True)
    old, new = (paper_wheel(tmp_path / version, version) for version in ("1.0", "1.1"))
    bench.change_to(old).run()
    start, bench.board.start = bench.board.start, lambda: None  # its daemon is not what is tried
    card.fill(leave_bytes)

    with pytest.raises((InstallationError, OSError)) as failed:
        bench.change_to(new).run()

    assert "No space left" in str(failed.value)
    assert bench.version_that_runs == "1.0"
    assert bench.is_as_laid_by(old)
    card.make_room()
    bench.board.start = start
    bench.change_to(new).run()
    assert (bench.version_that_runs, bench.board.schema) == ("1.1", 4)
