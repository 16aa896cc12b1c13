"""Changing releases: whole or not at all, one at a time, back again when it fails."""

import errno
import os
import signal
from contextlib import suppress

import pytest

from etchwarden.installation.change import STEPS
from etchwarden.installation.errors import InstallationError, NotOurs, Refused
from etchwarden.installation.layout import layout_of
from etchwarden.installation.removal import remove
from etchwarden.installation.undisturbed import one_at_a_time
from etchwarden.installation.wheel import Wheel, order_of, require_newer
from support.harnesses.install_bench import BOARD, Bench, files_under, paper_wheel

NAMES = [step.name for step in STEPS]


class PowerCut(BaseException):
    """Nothing of ours may catch it."""


def cut_after(name):
    def done(step):
        if step.name == name:
            raise PowerCut

    return done


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


@pytest.fixture
def old(tmp_path):
    return paper_wheel(tmp_path / "old", "1.0")


@pytest.fixture
def new(tmp_path):
    board = BOARD | {"etchwarden-web.service": b"[Service]\nExecStart=/newer\n"}
    return paper_wheel(tmp_path / "new", "1.1", board)


def test_a_first_installation_lays_its_files_and_uses_its_release(bench, old):
    bench.change_to(old).run()

    assert bench.version_that_runs == "1.0"
    assert bench.is_as_laid_by(old)


@pytest.mark.parametrize("name", NAMES)
def test_after_a_power_cut_at_any_step_a_release_works_and_the_next_run_finishes(
    bench, old, new, name
):
    bench.change_to(old).run()

    with pytest.raises(PowerCut):
        bench.change_to(new).run(cut_after(name))
    between = bench.version_that_runs
    bench.change_to(new).run()

    assert between == ("1.1" if NAMES.index(name) >= NAMES.index("switch") else "1.0")
    assert bench.version_that_runs == "1.1"
    assert bench.is_as_laid_by(new)


@pytest.mark.parametrize("name", NAMES)
def test_a_first_installation_cut_at_any_step_is_finished_by_a_second(bench, old, name):
    with pytest.raises(PowerCut):
        bench.change_to(old).run(cut_after(name))

    bench.change_to(old).run()

    assert bench.version_that_runs == "1.0"
    assert bench.is_as_laid_by(old)


@pytest.mark.parametrize("name", NAMES[: NAMES.index("end")])
def test_a_change_cut_at_any_step_can_still_go_back(bench, old, new, name):
    bench.change_to(old).run()
    with pytest.raises(PowerCut):
        bench.change_to(new).run(cut_after(name))
    bench.board.finds = lambda: ("broken",) if bench.version_that_runs == "1.1" else ()

    with pytest.raises(InstallationError, match="broken"):
        bench.change_to(new).run()

    assert bench.version_that_runs == "1.0"
    assert bench.is_as_laid_by(old)


def test_a_half_made_release_is_made_anew(bench, old):
    half = bench.releases.folder(old.label) / "bin"
    half.mkdir(parents=True)
    (half / "etchwarden").write_text("half")

    bench.change_to(old).run()

    assert bench.version_that_runs == "1.0"


def test_a_second_run_changes_nothing(bench, old):
    bench.change_to(old).run()
    before = {path: path.lstat().st_ino for path in bench.places.root.rglob("*")}

    bench.change_to(old).run()

    assert {path: path.lstat().st_ino for path in bench.places.root.rglob("*")} == before


FULL = OSError(errno.ENOSPC, "No space left on device", "/etc")
FAILURES = [InstallationError("the card is worn"), FULL, KeyboardInterrupt()]


@pytest.mark.parametrize("failure", FAILURES, ids=lambda failure: type(failure).__name__)
@pytest.mark.parametrize("step", ["stop", "back_up", "settle", "start"])
def test_a_step_that_fails_leaves_the_old_release_running(bench, old, new, step, failure):
    bench.change_to(old).run()
    bench.board.told.clear()
    work, failing = getattr(bench.board, step), [True]

    def fail_once(*arguments):
        if failing:
            failing.clear()
            raise failure
        return work(*arguments)

    setattr(bench.board, step, fail_once)

    with pytest.raises(type(failure)):
        bench.change_to(new).run()

    assert bench.version_that_runs == "1.0"
    assert bench.is_as_laid_by(old)
    assert bench.board.told[-3:] == ["put back", "settle", "start"]


def test_a_failed_self_check_goes_back_and_puts_the_records_back(bench, old, new):
    bench.change_to(old).run()
    bench.board.finds = lambda: ("no daemon",) if bench.version_that_runs == "1.1" else ()

    with pytest.raises(InstallationError, match="no daemon"):
        bench.change_to(new).run()

    assert bench.version_that_runs == "1.0"
    assert bench.is_as_laid_by(old)
    assert bench.board.told[-4:] == ["stop", "put back", "settle", "start"]


def test_a_release_that_is_laid_anew_never_goes_back_to_one_of_long_ago(bench, old, new):
    bench.change_to(old).run()
    bench.change_to(new).run()
    bench.board.finds = lambda: ("the port is taken",)

    with pytest.raises(InstallationError, match="taken"):
        bench.change_to(new).run()

    assert bench.version_that_runs == "1.1"
    assert bench.board.told[-1] == "start"
    assert bench.said[-1].startswith(f"{new.label} stays in use.")


def test_the_release_before_is_still_kept_after_going_back(bench, old, new, tmp_path):
    bench.change_to(old).run()
    bench.change_to(new).run()
    newest = paper_wheel(tmp_path / "newest", "1.2")
    bench.board.finds = lambda: ("broken",) if bench.version_that_runs == "1.2" else ()

    with pytest.raises(InstallationError):
        bench.change_to(newest).run()

    assert (bench.releases.current(), bench.releases.previous()) == (new.label, old.label)


def test_a_third_release_after_a_cut_still_goes_back_to_the_first(bench, old, new, tmp_path):
    bench.change_to(old).run()
    with pytest.raises(PowerCut):
        bench.change_to(new).run(cut_after("start"))
    third = paper_wheel(tmp_path / "third", "1.2")
    bench.board.finds = lambda: () if bench.version_that_runs == "1.0" else ("broken",)

    with pytest.raises(InstallationError):
        bench.change_to(third).run()

    assert bench.version_that_runs == "1.0"


@pytest.mark.parametrize(
    ("number", "version"), [(signal.SIGHUP, "1.1"), (signal.SIGTERM, "1.0"), (signal.SIGINT, "1.0")]
)
def test_a_lost_line_stops_nothing_and_being_told_to_end_goes_back(
    bench, old, new, number, version
):
    bench.change_to(old).run()
    bench.board.settle = lambda: os.kill(os.getpid(), number)

    with suppress(KeyboardInterrupt):
        bench.change_to(new).run()

    assert bench.version_that_runs == version


def test_nobody_can_end_it_on_the_way_back(bench, old, new):
    bench.change_to(old).run()
    bench.board.finds = lambda: ("broken",) if bench.version_that_runs == "1.1" else ()
    bench.board.put_back = lambda _copies: os.kill(os.getpid(), signal.SIGINT)

    with pytest.raises(InstallationError, match="broken"):
        bench.change_to(new).run()

    assert bench.version_that_runs == "1.0"


def test_everybody_may_read_what_is_laid_whatever_root_has_set(bench, old):
    before = os.umask(0o077)
    try:
        bench.change_to(old).run()
    finally:
        found = os.umask(before)

    modes = {path.stat().st_mode & 0o044 for path in bench.places.root.rglob("*")}
    assert (found, modes) == (0o077, {0o044})


def test_nothing_is_touched_while_a_machine_is_at_work(bench, old, new):
    bench.change_to(old).run()
    bench.board.told.clear()
    bench.board.at_work = ("The machine “left” is at work: Etching.",)

    with pytest.raises(Refused, match="left"):
        bench.change_to(new).run()

    assert bench.board.told == []
    assert bench.releases.current() == old.label


def test_an_etch_that_begins_while_the_release_is_made_is_not_disturbed(bench, old, new):
    bench.change_to(old).run()
    bench.board.told.clear()

    def begin_etch(step):
        if step.name == "release":
            bench.board.at_work = ("The machine “left” is at work: Etching.",)

    with pytest.raises(Refused):
        bench.change_to(new).run(begin_etch)

    assert bench.board.told == []


def test_two_installations_at_once_are_refused(bench, old):
    with one_at_a_time(bench.places), pytest.raises(Refused, match="under way"):
        bench.change_to(old).run()

    assert not bench.places.home.exists()


def test_two_releases_are_kept(bench, tmp_path):
    wheels = [paper_wheel(tmp_path / version, version) for version in ("1.0", "1.1", "1.2")]

    for wheel in wheels:
        bench.change_to(wheel).run()

    kept = {folder.name for folder in bench.places.releases.iterdir()}
    assert kept == {wheels[1].label, wheels[2].label}


def test_what_a_release_no_longer_lays_is_taken_away(bench, old, tmp_path):
    bench.change_to(old).run()
    layout = BOARD["layout.txt"].decode().replace("etchwarden.avahi.xml ", "#")
    slim = paper_wheel(tmp_path / "slim", "1.1", BOARD | {"layout.txt": layout.encode()})

    bench.change_to(slim).run()

    assert "/etc/avahi/services/etchwarden.service" not in files_under(bench.places.root)


def test_the_owners_files_are_neither_overwritten_nor_taken_away(bench, old, new):
    bench.change_to(old).run()
    settings = bench.places.settings / "page.toml"
    settings.write_text("port = 80\n")

    bench.change_to(new).run()
    remove(bench.places)

    assert settings.read_text() == "port = 80\n"


def test_uninstalling_leaves_records_and_settings_alone(bench, old):
    bench.change_to(old).run()
    logbook = bench.places.records / "left/logbook.sqlite3"
    logbook.parent.mkdir(parents=True)
    logbook.touch()

    remove(bench.places)

    assert files_under(bench.places.root) == [
        "/etc/etchwarden/page.toml",
        "/run/lock/etchwarden-install.lock",
        "/var/lib/etchwarden/left/logbook.sqlite3",
    ]


@pytest.mark.parametrize(
    "line",
    [
        "page.toml /etc/passwd",
        "page.toml /etc/etchwarden/../shadow",
        "absent /etc/etchwarden/x",
        "page.toml",
        "page.toml /etc/etchwarden/x twice",
    ],
)
def test_a_wheel_lays_files_only_where_they_belong(line):
    with pytest.raises(NotOurs):
        layout_of(BOARD | {"layout.txt": line.encode()})


def test_a_damaged_wheel_is_refused(tmp_path, old):
    data = bytearray(old.path.read_bytes())
    data[200] ^= 1
    old.path.write_bytes(data)

    with pytest.raises(NotOurs, match="damaged"):
        Wheel.at(old.path)


@pytest.mark.parametrize("name", ["photo.jpg", "other-1.0-py3-none-any.whl"])
def test_another_file_is_no_wheel_of_ours(tmp_path, name):
    (tmp_path / name).touch()

    with pytest.raises(NotOurs, match=name):
        Wheel.at(tmp_path / name)


@pytest.mark.parametrize("in_use", [None, "1.0-abcdef12", "1.1-abcdef12", "0.10-abcdef12"])
def test_a_newer_wheel_or_the_same_is_taken(new, in_use):
    require_newer(new, in_use, older=False)


def test_an_older_wheel_is_taken_only_when_it_is_asked_for(new):
    require_newer(new, "1.2-abcdef12", older=True)

    with pytest.raises(Refused, match=r"1\.1 is older than 1\.2"):
        require_newer(new, "1.2-abcdef12", older=False)


def test_versions_are_ordered_by_their_numbers():
    assert order_of("0.10.0") > order_of("0.9.2") > order_of("0.9")
