"""A person who finds settings with the page alone, played over HTTP."""

import json
import re
import time
import urllib.parse
from pathlib import Path

from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_SURFACE
from etchwire.catalogue.heads import ASSUMED_SPOT_MM
from support.harnesses.page_by_http import (
    PATIENCE_S,
    PageByHttp,
    field,
    say_that_the_patch_holds,
)
from support.harnesses.plain_client import PlainClient

PAIR = json.dumps([PRACTICE_HEADS["practice-20w"].name, PRACTICE_SURFACE])


class Finder:
    """A household with the page, and a browser without eyes."""

    def __init__(
        self,
        folder: Path,
        *,
        surface: str,
        speedup: float,
        imperfections: tuple[str, ...] = (),
        head: Path | None = None,
    ) -> None:
        """`surface` is a practice surface or a file, `head` a file of the laser that is there."""
        self._household = ProcessGroup(folder)
        self._folder = folder
        self._session = Session(self._household, folder)
        self._machine = ("--speedup", f"{speedup:g}", "--surface", surface)
        self._machine += tuple(f"--imperfection={one}" for one in imperfections)
        self._machine += ("--head", str(head)) if head else ()
        self._number = 0
        self._pair = PAIR

    def __enter__(self):
        self._household.__enter__()
        self._session.start_machine(*self._machine)
        self._household.start(
            "page", "page", "--daemon", str(self._folder / "daemon.sock"),
            "--folder", str(self._folder / "page"), "--port", "0", "--open-to-loopback",
            "--practice", str(self._folder / "machine"),
        )  # fmt: skip
        served = self._await(
            lambda: re.search(r"http://127\.0\.0\.1:\d+", (self._folder / "page.log").read_text())
        )
        self._page = PageByHttp(served[0])
        self._await(lambda: "idle" in json.dumps(self._status()))
        return self

    def __exit__(self, *error):
        self._household.__exit__(*error)

    # What a person does

    def make(self, **form):
        """Ask for a test card, and wait until it is laid out."""
        page = self._page.look("/test-tiles/new")
        self._number = int(
            self._page.post(page, "/test-tiles/new", pair=self._pair, **form).rsplit("/", 1)[1]
        )
        return self._settled()

    def etch(self, *, is_on_wedge: bool = False, is_on_same_tile: bool = False):
        """Lay a tile, put the card on the bench, confirm everything, and let it end."""
        if not is_on_same_tile:
            tile = "lay-on-wedge" if is_on_wedge else "lay-tile"
            self._page.post(self._page.look("/practice"), f"/practice/{tile}")
        self._page.post(self._settled(), f"/test-tiles/{self._number}/bench")
        self.etch_what_lies_there()

    def etch_what_lies_there(self):
        """Arm, press the button, start, and wait for the end."""
        with PlainClient(self._session.socket) as daemon:
            self._session.arm(daemon)
            daemon.call("start", acknowledge_long_run=True)
            self._await(lambda: (daemon.call("status")["run"] or {}).get("ended"))
            run = daemon.call("status")["run"]
        assert run["ended"] == "complete", run["because"]

    def photo(self) -> bytes:
        """Photograph the wiped tile."""
        return self._page.fetch("/practice/tile.png")

    @property
    def number(self) -> int:
        """The test card in hand."""
        return self._number

    def take_up(self, number: int) -> None:
        """Go on with another test card."""
        self._number = number

    def read(self, photo: bytes):
        """Send a photo of the test card, wait for what it showed, and try the patch chosen."""
        at = f"/test-tiles/{self._number}"
        self._page.post(self._settled(), f"{at}/photos", photo=photo, wiped="yes")
        page = self._settled()
        assert "What it showed" in page, page
        say_that_the_patch_holds(self._page, page, at)
        return self._settled()

    def choose(self, **form):
        """Make what was read the recipe, the curve or the register."""
        self._page.post(self._settled(), f"/test-tiles/{self._number}/choose", choose="yes", **form)

    def save_only(self):
        """Save what was read, and change nothing by it."""
        self._page.post(self._settled(), f"/test-tiles/{self._number}/choose", choose="no")

    def etch_photo(
        self, photo: bytes, *, width_mm: float, height_mm: float, halftone: str = "jarvis"
    ):
        """Take a photo through *New picture* onto a new tile; return its sheet."""
        self._page.post(self._page.look("/practice"), "/practice/lay-tile")
        at = urllib.parse.urlsplit(
            self._page.post(self._page.look("/new"), "/new", photo=photo)
        ).path
        at = at.rsplit("/", 1)[0]
        size = {"width_mm": width_mm, "height_mm": height_mm, "pair": self._pair}
        self._page.post(self._ready(f"{at}/tile"), f"{at}/tile", **size)
        page = self._ready(f"{at}/cut")
        cut = {name: field(page, name) for name in ("left", "top", "wide")}
        self._page.post(page, f"{at}/cut", **cut)
        tones = dict.fromkeys(
            ("lighter", "contrast", "local_contrast", "sharpness", "open_shadows"), 0
        )
        self._page.post(self._ready(f"{at}/look"), f"{at}/look", halftone=halftone, **tones)
        page = self._ready(f"{at}/proof")
        boxes = re.findall(r'name="has read" value="([^"]+)"', page)
        self._page.post(page, f"{at}/bench", **({"has read": boxes[0]} if boxes else {}))
        self.etch_what_lies_there()
        with PlainClient(self._session.socket) as daemon:
            return daemon.call("run", id=daemon.call("runs", limit=1)["runs"][0]["id"])

    def tile_picture(self, rectangle, path: Path, mm_per_px: float) -> None:
        """Leave a picture of a part of the wiped tile at `path`."""
        with self._session.ask_machine() as machine:
            machine.call("picture", after=str(path), mm_per_px=mm_per_px, rectangle=list(rectangle))

    def head(self):
        """Return the laser as the logbook has it."""
        with PlainClient(self._session.socket) as daemon:
            heads = daemon.call("heads")["heads"]
        return next(head["head"] for head in heads if head["name"] == json.loads(self._pair)[0])

    def forget_register(self):
        """Make the laser one whose rows nobody has measured, as any is at first."""
        with PlainClient(self._session.socket) as daemon:
            daemon.call("save_head", head=self.head() | {"register": {}})

    def forget_everything(self, *, rated_optical_w: float | None = None):
        """Have a laser whose spot and rows nobody measured, and a surface without a recipe."""
        unknown = {"spot_x_mm": ASSUMED_SPOT_MM, "spot_y_mm": ASSUMED_SPOT_MM}
        unknown |= {} if rated_optical_w is None else {"rated_optical_w": rated_optical_w}
        name, practice = "a laser like any at first", self.head()
        with PlainClient(self._session.socket) as daemon:
            daemon.call("save_head", head=practice | unknown | {
                "name": name, "is_spot_measured": False, "is_spot_stated": False, "register": {},
            })  # fmt: skip
            daemon.call("save_surface", surface={"name": "a new box"})
        self._pair = json.dumps([name, "a new box"])

    def next_card(self) -> str:
        """Return the kind of card that the page names next; empty once it names none."""
        named = re.search(r"/test-tiles/new\?finds=(\w+)&amp;pair=", self.story())
        return named[1] if named else ""

    def story(self) -> str:
        """Return the page with the time line."""
        return self._page.look(f"/test-tiles?pair={urllib.parse.quote(self._pair)}")

    @property
    def presses(self) -> int:
        """How many buttons were pressed on the page."""
        return self._page.presses

    def runs(self):
        """Return the etches so far, the newest first."""
        with PlainClient(self._session.socket) as daemon:
            return daemon.call("runs", limit=50)["runs"]

    def recipe(self):
        """Return the recipe in force."""
        head, surface = json.loads(self._pair)
        with PlainClient(self._session.socket) as daemon:
            recipes = daemon.call("recipes", head=head, surface=surface)["recipes"]
        return next(recipe for recipe in recipes if recipe["is_in_force"])

    # How the browser does it

    def _settled(self) -> str:
        return self._ready(f"/test-tiles/{self._number}")

    def _ready(self, path: str) -> str:
        """Return a page once it is more than the progress of some work."""
        return self._await(
            lambda: None if "Working on it" in (page := self._page.look(path)) else page
        )

    def _status(self):
        with PlainClient(self._session.socket) as daemon:
            return daemon.call("status")

    def _await(self, found):
        deadline_s = time.monotonic() + PATIENCE_S
        while not (it := found()):
            self._household.require_all()
            assert time.monotonic() < deadline_s, "it does not come"
            time.sleep(0.2)  # a page costs what ten looks at the daemon do
        return it
