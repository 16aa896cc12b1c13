"""Two practice machines on one board etch two photos at once; page, broker and command show both.

Real processes, all of them: two practice machines, two daemons, one page and one broker.
"""

import http.client
import json
import re
import signal
import time
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image, ImageDraw

from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import prepare_job
from etchwarden.commands.fleet import command
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchweb.auth.codes import new_token
from etchweb.auth.roles import Role
from etchweb.auth.store import Store
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import PICTURE_NAME, read_sheet
from rig.etched import _dots, grown
from support.harnesses.broker import broker_in, free_port, until
from support.harnesses.plain_client import PlainClient

NAMES = ("left", "right")
SPEEDUP = "20"
WIDTH_MM = 22.0
PX_PER_DOT = 5


def draw_moon(draw):
    draw.ellipse((30, 30, 200, 200), fill=60)
    draw.ellipse((80, 20, 240, 180), fill=235)


def draw_hills(draw):
    for number in range(6):
        peak, foot = (90 + 20 * number, 40 + 30 * number), (240, 110 + 20 * number)
        ground = [(0, 90 + 25 * number), peak, foot, (240, 240), (0, 240)]
        draw.polygon(ground, fill=220 - 35 * number)


class Machine:
    """One machine of the board, with a photo of its own, ready to be started."""

    def __init__(self, folder, title, draw):
        folder.mkdir()
        self.title, self.household = title, ProcessGroup(folder)
        self.session = Session(self.household, folder)
        photo = Image.new("L", (240, 240), 255)
        draw(ImageDraw.Draw(photo))
        photo.save(folder / "photo.png")
        order = PhotoOrder(
            head=PRACTICE_HEADS["practice-20w"],
            recipe=PRACTICE_RECIPES["practice-20w"],
            width_mm=WIDTH_MM,
            title=title,
        )
        prepare_job(folder / "photo.png", order, folder=self.session.job)
        (folder / "api.sock").symlink_to(folder / "daemon.sock")  # where a board's page looks

    def get_ready(self):
        # On an 8-bit controller the head slows down in fine rows, and this laser's dots pale there.
        self.session.start_machine("--speedup", SPEEDUP, "--firmware", "32-bit")
        with PlainClient(self.session.socket) as daemon:
            self.session.load(daemon)
            self.session.arm(daemon)

    def start(self):
        with PlainClient(self.session.socket) as daemon:
            daemon.call("start")

    def run(self):
        with PlainClient(self.session.socket) as daemon:
            return daemon.call("status")["run"]

    def require_exact_tile(self):
        """Every dot of the promise is dark, and white wider than the spot is the tile's own."""
        sheet, seen = read_sheet(self.session.job), self.session.folder / "etched.png"
        picture = sheet.picture
        frame = picture.left_mm, picture.bottom_mm, picture.right_mm, picture.top_mm
        with self.session.ask_machine() as machine:
            machine.call("picture", after=str(seen), rectangle=frame, mm_per_px=0.1 / PX_PER_DOT)
        with Image.open(seen) as tile:
            grey = np.asarray(tile.convert("L")).astype(int)
        middles = grey[PX_PER_DOT // 2 :: PX_PER_DOT, PX_PER_DOT // 2 :: PX_PER_DOT]
        promised = _dots(self.session.job / PICTURE_NAME, sheet.columns)
        halfway = (grey.min() + grey.max()) / 2
        assert middles.shape == promised.shape
        assert (middles[promised] < halfway).all()
        assert (middles[~grown(promised)] > halfway).all()


class Board:
    """Two machines, and one page of both that reports to a broker."""

    def __init__(self, folder, broker, ends):
        self.machines = {}
        for name, title, draw in zip(
            NAMES, ("Moon", "Hills"), (draw_moon, draw_hills), strict=True
        ):
            self.machines[name] = Machine(folder / name, title, draw)
            ends.callback(self.machines[name].household.end)
            self.machines[name].get_ready()
        self.port, self.settings = free_port(), folder / "page.toml"
        self.settings.write_text(
            f'host = "127.0.0.1"\nport = {self.port}\nmachines = ["left", "right"]\n'
            f'sockets = "{folder}"\n[fleet]\nbroker = "127.0.0.1"\nport = {broker.port}\n'
            'page = "http://board.local/"\n'
        )
        own, self._token = folder / "page", new_token()
        own.mkdir()
        Store(own).add_phone(self._token, "a phone", Role.WATCH, time.time())
        (folder / "board").mkdir()
        self.household = ProcessGroup(folder / "board")
        ends.callback(self.household.end)
        self.household.start("page", "page", "--settings", str(self.settings), "--folder", str(own))
        until(lambda: self._says_where_it_is(folder / "board" / "page.log"))

    @staticmethod
    def _says_where_it_is(log):
        return "The page is at" in Path(log).read_text()

    def look(self, path):
        """Return the words of a page, as the paired phone gets it."""
        phone = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        phone.request("GET", path, headers={"Cookie": f"etchwarden={self._token.token}"})
        answer = phone.getresponse()
        html = answer.read().decode()
        phone.close()
        assert answer.status == 200, (path, answer.status)
        return " ".join(re.sub(r"<[^>]+>", " ", html).split())

    def fleet(self, *options):
        """Return what `etchwarden fleet` prints."""
        options = ["--settings", str(self.settings), "--wait", "60", *options]
        done = CliRunner().invoke(command, options)
        assert done.exit_code == 0, done.output
        return done.output


@pytest.fixture
def board(tmp_path_factory):
    folder = tmp_path_factory.mktemp("board")  # short: sockets lie in it
    with ExitStack() as ends:
        broker = ends.enter_context(broker_in(folder))
        yield Board(folder, broker, ends)


def test_two_photos_at_once_on_one_board_and_everybody_sees_both(board):
    for machine in board.machines.values():
        machine.start()

    etching = until(
        lambda: "2 boxes are etching." in (page := board.look("/m/left/fleet")) and page
    )
    assert "2 boxes are etching." in board.fleet()
    for name, machine in board.machines.items():
        assert f"{machine.title}: " in etching
        assert machine.title in board.look(f"/m/{name}/")

    for machine in board.machines.values():
        until(lambda machine=machine: machine.run()["ended"])
        assert machine.run()["ended"] == "complete", machine.run()["because"]
        machine.require_exact_tile()
    etched = until(lambda: (page := board.look("/m/right/fleet")).count("Etched ") == 2 and page)
    assert etched.count("All interlocks are good.") == 2
    printed = until(lambda: " 0 s of beam time" not in (told := board.fleet()) and told)
    assert printed.count(" s of beam time.") == 2
    assert printed.count("100\u202f%, 220 of 220 rows") == 2

    pages = [box["machine/page"] for box in json.loads(board.fleet("--json"))]
    assert pages == ["http://board.local/m/left/", "http://board.local/m/right/"]

    board.household.send("page", signal.SIGKILL)
    gone = until(lambda: (told := board.fleet()).count("Gone without signing off") == 2 and told)
    assert "No box is etching; left, right need somebody." in gone
