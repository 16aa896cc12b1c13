"""`systemd/install` as a person runs it, in a folder that plays the board.

Only the libraries are not those of the lock, which would have to be fetched: one library of our
own invention stands for them, and what the programs import is lent by the tests' environment.
`.ci/run` installs with the real lock.
"""

import fcntl
import os
import site
import subprocess
import sys

import pytest

from etchwarden.installation.places import Places
from install_bench import ROOT, build_wheel, files_under, leaf_wheel, with_lock

SETTINGS = "/etc/etchwarden/page.toml"
ENVIRONMENT = os.environ | {"PYTHONPATH": os.pathsep.join(site.getsitepackages())}
LOCK = "/run/lock/etchwarden-install.lock"


@pytest.fixture(scope="module")
def real_wheel(tmp_path_factory):
    return build_wheel(tmp_path_factory.mktemp("built"))


@pytest.fixture
def wheel(real_wheel, tmp_path):
    return with_lock(real_wheel, leaf_wheel(tmp_path), tmp_path)


@pytest.fixture
def start(tmp_path, wheel):
    def start(*arguments):
        return subprocess.Popen(
            [sys.executable, ROOT / "systemd/install", "--root", tmp_path / "root",
             "--wheel", wheel, "--wheelhouse", tmp_path, *arguments],
            env=ENVIRONMENT, text=True, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
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


def test_dry_run_and_real_run_leave_exactly_the_listed_files(install, tmp_path):
    root = tmp_path / "root"
    dry = install("--dry-run")
    after_dry = root.exists()

    real = install("--yes")

    assert (dry.returncode, after_dry, real.returncode) == (0, False, 0), real.stdout
    release = [line for line in listed(dry.stdout) if line.endswith("/")]
    files = sorted({*listed(dry.stdout), LOCK} - set(release))
    assert files_under(root) == files
    assert [f"/opt/etchwarden/releases/{path.name}/" for path in Places(root).releases.iterdir()] \
        == release  # fmt: skip


def test_a_library_that_was_tampered_with_is_refused(install, tmp_path):
    with (tmp_path / "leaf-1.0-py3-none-any.whl").open("ab") as file:
        file.write(b"x")

    done = install("--yes")

    assert done.returncode == 1
    assert "HASHES" in done.stdout.upper()
    assert list(Places(tmp_path / "root").releases.iterdir()) == []


@pytest.mark.parametrize("moment", ["Making the release", "Laying units"])
def test_killed_in_the_middle_it_is_finished_by_a_second_run(start, install, tmp_path, moment):
    first = start("--yes")
    await_sentence(first, moment)
    first.kill()
    first.communicate()
    with Places(tmp_path / "root").lock.open() as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # until what it had started has ended

    second = install("--yes")

    assert second.returncode == 0, second.stdout
    assert Places(tmp_path / "root").command.exists()


def test_two_at_once_are_refused(start, install):
    first = start("--yes")
    await_sentence(first, "Making the release")

    second = install("--yes")

    first.communicate()
    assert (first.returncode, second.returncode) == (0, 1)
    assert "Another installation is under way" in second.stdout


def test_nothing_is_done_where_nobody_can_be_asked(install, tmp_path):
    done = install()

    assert done.returncode == 1
    assert "--yes" in done.stdout
    assert not (tmp_path / "root").exists()


def test_what_was_installed_runs_and_is_taken_away_again(install, tmp_path):
    install("--yes")
    version = subprocess.run(
        [Places(tmp_path / "root").command, "--version"],
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
        check=True,
    )

    done = install("--uninstall", "--yes")

    assert version.stdout.startswith("etchwarden, version")
    assert done.returncode == 0, done.stdout
    assert files_under(tmp_path / "root") == [SETTINGS, LOCK]


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
