"""A board whose card is full: updating it, serving its page, asking for help."""

import re
import subprocess
import sys

import pytest
from click.testing import CliRunner

from etchwarden.__main__ import main
from etchwarden.installation.errors import InstallationError
from etchwarden.installation.places import Places
from install_bench import Bench, BootingBoard, paper_wheel
from memory_card import memory_card


@pytest.fixture
def card(tmp_path):
    with memory_card(tmp_path / "card") as card:
        yield card


def test_the_bundle_for_help_is_whole_or_not_there(card, tmp_path):
    words = ["doctor", "--root", tmp_path / "nowhere", "--bundle", card.folder / "bundle.json"]
    card.fill()

    done = CliRunner().invoke(main, list(map(str, words)))

    assert done.exit_code == 1
    assert "cannot be written: No space left on device." in done.output
    assert card.files() == []
    card.make_room()
    assert "Written to" in CliRunner().invoke(main, list(map(str, words))).output


def test_a_page_cannot_be_served_from_a_card_without_room_for_its_store(card, tmp_path):
    card.fill()

    ended = subprocess.run(
        [sys.executable, "-m", "etchwarden", "page", "--daemon", "none", "--port", "0",
         "--folder", card.folder / "another"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert ended.returncode == 1
    assert re.fullmatch(r"Error: .*no room left.*\.\n", ended.stderr)


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
