"""`etchwarden practice` with real processes, a real pseudo-terminal and a real page."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path
from urllib.request import urlopen

import pytest
from click.testing import CliRunner
from PIL import Image, ImageDraw

from etchwarden.__main__ import main

PATIENCE_S = 60.0
PRACTICE = (sys.executable, "-m", "etchwarden", "practice", "--speedup", "20")
QUICKLY_PREPARED = ("--width", "8", "--surface", "quick-paint")  # without a tone card's dots
PROCESSES = {"machine", "daemon", "page"}


@pytest.fixture(scope="module")
def disc(tmp_path_factory):
    """A small picture, quickly etched: a dark disc on white."""
    path = tmp_path_factory.mktemp("photo") / "disc.png"
    picture = Image.new("L", (80, 80), 255)
    ImageDraw.Draw(picture).ellipse((20, 20, 60, 60), fill=20)
    picture.save(path)
    return path


def free_port():
    with socket.socket() as knock:
        knock.bind(("127.0.0.1", 0))
        return knock.getsockname()[1]


def children_of(pid):
    listed = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return {
        Path(f"/proc/{child}/cmdline").read_text().split("\0")[3]: int(child) for child in listed
    }


def is_running(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def wait_until(is_so):
    deadline_s = time.monotonic() + PATIENCE_S
    while not is_so():
        assert time.monotonic() < deadline_s, "it did not happen in time"
        time.sleep(0.05)


@contextmanager
def begun(*words, says):
    """Start a practice session with its page, and wait until it `says` so."""
    process = subprocess.Popen(
        [*PRACTICE, *words, "--port", str(free_port())],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    with process:
        said = next(line for line in process.stdout if says in line)  # after a note on the photo
        yield process, said
        process.kill()


@pytest.fixture
def session(disc):
    """A session in the middle of its picture."""
    with begun("--speedup", "1", disc, *QUICKLY_PREPARED, says="Watch it at") as (process, _):
        yield process


@pytest.fixture
def new_box():
    """A session of the same processes that begins without a picture, and where its page is."""
    with begun("--new-box", says="new box") as (process, said):
        yield process, re.search(r"http://\S+/", said)[0]


@pytest.fixture(scope="module")
def once(disc, tmp_path_factory):
    """One etch from start to end: what was printed, and the folder it left."""
    folder = tmp_path_factory.mktemp("once") / "out"
    done = subprocess.run(
        [*PRACTICE, str(disc), "--once", "--out", str(folder), "--width", "8"],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout, folder


def test_one_etch_leaves_the_job_both_pictures_and_the_record(once):
    _, folder = once

    left = {path.name for path in folder.iterdir()}

    assert left >= {"job.gcode", "job.json", "expected.png", "etched.png", "run.json"}


def test_the_record_says_that_every_row_was_etched(once):
    record = json.loads((once[1] / "run.json").read_text())

    assert record["ended"] == "complete"
    assert record["etched_rows"] == record["rows"] == 80


def test_the_summary_says_what_speed_was_reached(once):
    assert re.search(r"Speed while the beam was on: \d+ mm/min; the recipe asked for 4000", once[0])


def test_the_etched_tile_is_dark_where_the_promise_is_dark_and_white_elsewhere(once):
    etched = Image.open(once[1] / "etched.png").convert("L")
    width, height = etched.size
    middle, corner = etched.getpixel((width // 2, height // 2)), etched.getpixel((3, 3))

    assert middle < 90
    assert corner > 200


@pytest.mark.parametrize("name", ["machine", "daemon"])
def test_killing_any_one_process_ends_the_session_with_a_sentence_and_no_stuck_child(session, name):
    require_end_for_want_of(name, session)


def test_so_does_killing_the_page(new_box):
    require_end_for_want_of("page", new_box[0])


def require_end_for_want_of(name, session):
    children = children_of(session.pid)
    assert set(children) == PROCESSES

    os.kill(children[name], signal.SIGKILL)

    output, _ = session.communicate(timeout=PATIENCE_S)
    assert session.returncode == 1
    assert re.search(rf"The (practice )?{name} was killed by SIGKILL", output), output
    assert not any(is_running(pid) for pid in children.values())


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_no_process_outlives_the_session_however_it_is_ended(new_box, how):
    session, _ = new_box
    children = children_of(session.pid)
    assert set(children) == PROCESSES

    session.send_signal(how)

    session.wait(PATIENCE_S)
    wait_until(lambda: not any(is_running(pid) for pid in children.values()))


def test_ctrl_c_is_no_failure_and_leaves_no_process(session):
    children = children_of(session.pid)
    session.send_signal(signal.SIGINT)

    output, _ = session.communicate(timeout=PATIENCE_S)

    assert session.returncode == 0
    assert "Everything is switched off" in output
    assert not any(is_running(pid) for pid in children.values())


def test_a_page_port_in_use_is_named_with_the_way_to_choose_another():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]

        done = subprocess.run(
            [*PRACTICE, "--new-box", "--port", str(port)],
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )

    assert done.returncode == 1
    assert str(port) in done.stderr
    assert "--port" in done.stderr


def run_practice(*arguments):
    """Run the command in this process, where it ends before it starts any other."""
    return CliRunner().invoke(main, ["practice", *map(str, arguments)])


@pytest.mark.parametrize("content", [None, b"", b"not a picture", b"\xff\xd8\xff\xe0cut short"])
def test_a_photo_that_cannot_be_read_is_refused_with_a_sentence(tmp_path, content):
    photo = tmp_path / "photo.jpg"
    if content is not None:
        photo.write_bytes(content)

    done = run_practice(photo, "--once")

    assert done.exit_code == 1
    assert "photo.jpg" in done.stderr
    assert isinstance(done.exception, SystemExit)  # and no error that nobody foresaw


def test_a_place_that_cannot_be_written_to_is_refused_before_anything_starts(disc, tmp_path):
    (tmp_path / "file").write_text("kept")

    done = run_practice(disc, "--once", "--out", tmp_path / "file")

    assert done.exit_code == 1
    assert "cannot be" in done.stderr
    assert (tmp_path / "file").read_text() == "kept"


def test_a_new_box_knows_nothing_and_its_page_leads_from_there(new_box):
    session, url = new_box

    with urlopen(url, timeout=PATIENCE_S) as page:
        shown = page.read().decode()
    session.send_signal(signal.SIGINT)

    assert "First tile, step 1 of 5: Laser" in shown
    assert session.wait(PATIENCE_S) == 0


@pytest.mark.parametrize("more", [["--once"], ["photo.jpg"], ["--scenario", "flame"]])
def test_a_new_box_etches_nothing_by_itself(more):
    done = run_practice("--new-box", *more)

    assert done.exit_code == 2
    assert "--new-box stands alone" in done.stderr
