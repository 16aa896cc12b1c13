"""`systemd/install` as a person runs it, in a folder that plays the board.

Only the libraries are not those of the lock, which would have to be fetched: one library of our
own invention stands for them, and what the programs import is lent by the tests' environment. The
pip that comes with the first release's environment is lent to those of the other releases.
`.ci/run` installs with the real lock.
"""

import fcntl
import os
import site
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from etchwarden.installation.paths import Places
from support.harnesses.install_bench import ROOT, build_wheel, files_under, leaf_wheel, with_lock

SETTINGS = "/etc/etchwarden/page.toml"
LENDING = Path(__file__).with_name("lending")
ENVIRONMENT = os.environ | {"PYTHONPATH": os.pathsep.join(site.getsitepackages())}
# What a board or a person may have told pip: none of it may lead the installation astray.
LED_ASTRAY = {
    "PIP_TARGET": "/nowhere", "PIP_USER": "1", "PIP_EXTRA_INDEX_URL": "https://nowhere.invalid",
    "PIP_REQUIRE_VIRTUALENV": "1", "PIP_CONSTRAINT": "/nowhere", "PIP_NO_BINARY": ":all:",
}  # fmt: skip
LOCK = "/run/lock/etchwarden-install.lock"


@pytest.fixture(scope="module")
def real_wheel(tmp_path_factory):
    return build_wheel(tmp_path_factory.mktemp("built"))


@pytest.fixture
def stick(tmp_path):
    """A folder with wheels to install from, with a space in its name as sticks have it."""
    stick = tmp_path / "USB STICK"
    stick.mkdir()
    return stick


@pytest.fixture
def wheel(real_wheel, stick):
    return with_lock(real_wheel, leaf_wheel(stick), stick)


@pytest.fixture(scope="module")
def lending(tmp_path_factory):
    """The environment variables by which environments get the pip of the first of them."""
    path = os.pathsep.join([str(LENDING), ENVIRONMENT["PYTHONPATH"]])
    return {"PYTHONPATH": path, "LENT_PIP": str(tmp_path_factory.mktemp("lent") / "pip")}


@pytest.fixture
def start(tmp_path, stick, wheel, lending):
    def start(*arguments):
        return subprocess.Popen(
            [sys.executable, ROOT / "systemd/install", "--root", tmp_path / "root",
             "--wheel", wheel, "--wheelhouse", stick, *arguments],
            env=ENVIRONMENT | lending | LED_ASTRAY, text=True, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, umask=0o077,
        )  # fmt: skip

    return start


@pytest.fixture
def install(start):
    def install(*arguments):
        process = start(*arguments)
        said, _ = process.communicate()
        return subprocess.CompletedProcess(process.args, process.returncode, said)

    return install


def await_sentence(process, beginning):
    while not process.stdout.readline().startswith(beginning):
        assert process.poll() is None


def listed(printed):
    return [line.strip() for line in printed.splitlines() if line.startswith("  /")]


def files_of(root):
    """Return every file, folder and link under `root`, with owner, mode, time and content."""
    return {
        str(path.relative_to(root)): (
            found.st_uid,
            found.st_gid,
            stat.filemode(found.st_mode),
            found.st_mtime_ns if found.st_size and stat.S_ISREG(found.st_mode) else None,
            path.readlink() if path.is_symlink() else None,
        )
        for path in root.rglob("*")
        for found in [path.lstat()]
    }


def test_dry_run_and_real_run_leave_exactly_the_listed_files_and_a_second_run_no_other(
    install, tmp_path
):
    root = tmp_path / "root"
    (root / "boot/firmware").mkdir(parents=True)
    (root / "boot/firmware/config.txt").write_text("dtparam=audio=on\n")
    (root / "boot/firmware/cmdline.txt").write_bytes(b"console=tty1 \xff\n")
    before = files_of(root)
    dry = install("--dry-run")
    after_dry = files_of(root)

    real = install("--yes")

    assert (dry.returncode, after_dry == before, real.returncode) == (0, True, 0), real.stdout
    assert all("strict_gpiod” to /boot/firmware" in done.stdout for done in (dry, real))
    after = files_of(root)
    second = install("--yes")
    assert (second.returncode, files_of(root)) == (0, after)
    new = {f"/{name}": seen for name, seen in after.items() if name not in before}
    release, files = listed_apart(dry.stdout)
    inside = {name: seen for name, seen in new.items() if name.startswith(release)}
    outside = {name: seen for name, seen in new.items() if name not in inside}
    assert sorted(name for name, seen in outside.items() if seen[2][0] != "d") == files
    assert {seen[:2] for seen in new.values()} == {(os.geteuid(), os.getegid())}
    assert {seen[2] for seen in outside.values()} == {"drwxr-xr-x", "-rw-r--r--", "lrwxrwxrwx"}
    assert all(seen[2][7] == "r" for seen in inside.values())  # by the daemon's user too


def listed_apart(printed):
    """Return the folder of the release, and the files besides, that a plan lists."""
    (release,) = [line for line in listed(printed) if line.endswith("/")]
    return release, sorted(set(listed(printed)) - {release})


def test_a_library_that_was_tampered_with_is_refused(install, stick, tmp_path):
    with (stick / "leaf-1.0-py3-none-any.whl").open("ab") as file:
        file.write(b"x")

    done = install("--yes")

    assert done.returncode == 1
    assert "HASHES" in done.stdout.upper()
    assert list(Places(tmp_path / "root").releases.iterdir()) == []


def test_two_at_once_are_refused_and_what_is_killed_in_the_middle_is_finished_by_another_run(
    start, install, tmp_path
):
    places = Places(tmp_path / "root")
    kill(start("--yes"), "Making the release", places)
    another = start("--yes")
    await_sentence(another, "Making the release")
    refused = install("--yes")
    kill(another, "Laying units", places)

    last = install("--yes")

    assert refused.returncode == 1
    assert "Another installation is under way" in refused.stdout
    assert last.returncode == 0, last.stdout
    version = subprocess.run(
        [places.command, "--version"], env=ENVIRONMENT, capture_output=True, text=True, check=True
    )
    assert version.stdout.startswith("etchwarden, version")

    done = install("--uninstall", "--yes")

    assert done.returncode == 0, done.stdout
    assert files_under(tmp_path / "root") == [SETTINGS, LOCK]


def kill(under_way, moment, places):
    await_sentence(under_way, moment)
    under_way.kill()
    under_way.communicate()
    with places.lock.open() as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # until what it had started has ended


def test_nothing_is_done_where_nobody_can_be_asked(install, tmp_path):
    done = install()

    assert done.returncode == 1
    assert "--yes" in done.stdout
    assert not (tmp_path / "root").exists()


def test_the_lock_has_hashes_for_every_library_that_is_asked_for():
    lock = (ROOT / "systemd/requirements.lock").read_text()
    locked = {line.partition("==")[0] for line in lock.splitlines() if "==" in line}

    asked = subprocess.run(
        [sys.executable, "-c",
         "import tomllib,re;p=tomllib.load(open('pyproject.toml','rb'))['project'];"
         "print(*[re.match('[a-z-]+',d)[0] for d in p['dependencies']])"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    ).stdout.split()  # fmt: skip

    assert set(asked) <= locked
    assert "://" not in lock
