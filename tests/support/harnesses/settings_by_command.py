"""Finding the settings of an unknown surface by commands: a household, and photos of its tile.

Practice machine and daemon are real processes; the photos are rendered.
"""

from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from click.testing import CliRunner
from PIL import Image

from darkroom.camera import Shot, photograph
from darkroom.practice import MM_PER_PX
from darkroom.tile import Tile
from etchpractice.scenario.people import ANSWERS
from etchpractice.tile.surface import surface_named
from etchwarden.__main__ import main
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session
from etchwire.sheet import read_sheet
from support.harnesses.catalogue_bench import OWN_LASER
from support.harnesses.plain_client import PlainClient

SURFACE = "thick-coat"
NAMED = "three thick coats"
SHOT = Shot(
    width_px=2400, height_px=1800, tilt_degrees=18, light_ratio=1.6, noise_codes=2.0, quality=80
)


@dataclass(frozen=True)
class Bench(Session):
    """A household on an unknown surface, and a person who types and photographs."""

    surface: str

    def say(self, *words):
        """Run `etchwarden WORDS` and return what it said."""
        environment = {"ETCHWARDEN_DAEMON": str(self.folder / "daemon.sock")}
        result = CliRunner().invoke(main, [str(word) for word in words], env=environment)
        assert result.exit_code == 0, (words, result.output)
        return result.output

    def etch(self, job):
        """Load, answer the checklist and start by command; press the button beside the machine."""
        answers = [f"--answer={key}={_typed(answer)}" for key, answer in ANSWERS.items()]
        with PlainClient(self.socket) as daemon:  # a job is checked for the machine that is there
            self.set_origin(daemon)
        self.say("load", job, "--daemon", self.folder / "daemon.sock")
        with ThreadPoolExecutor(1) as terminal, PlainClient(self.socket) as daemon:
            etching = terminal.submit(self.say, "etch", "--long-run", *answers)
            self.processes.wait_until(lambda: etching.done() or _is_asked_for(daemon))
            self.press_until(lambda: etching.done() or not _is_asked_for(daemon))
            assert "complete" in etching.result()

    def lay_tile(self, *, is_on_wedge=False):
        """Take the tile out and lay a new one, flat or with its right end 18 mm up over 150."""
        with self.ask_machine() as machine:
            machine.call("lay_on_wedge" if is_on_wedge else "lay_new_tile")

    def look(self, job, margin_mm=0.0):
        """Return the wiped tile's reflectance where a job lies, beside that of bare tile."""
        place, path = read_sheet(job).picture, self.folder / "tile.png"
        rectangle = [
            place.left_mm - margin_mm, place.bottom_mm - margin_mm,
            place.right_mm + margin_mm, place.top_mm + margin_mm,
        ]  # fmt: skip
        with self.ask_machine() as machine:
            machine.call("picture", after=str(path), mm_per_px=MM_PER_PX, rectangle=rectangle)
        codes = np.asarray(Image.open(path)) / 255
        light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
        return (light / surface_named(self.surface).tile_reflectance).astype(np.float32)

    def photograph(self, job):
        """Take a tilted, unevenly lit, noisy photo of a wiped card."""
        path = job.with_suffix(".jpg")
        path.write_bytes(photograph(Tile(self.look(job), 1 / MM_PER_PX, None), SHOT).getvalue())
        return path


@contextmanager
def bench_on_unknown_surface(folder, *, speedup, imperfections=(), surface=SURFACE):
    """Start a household whose surface no command knows, and describe the person's laser."""
    wrong = [f"--imperfection={one}" for one in imperfections]
    with ProcessGroup(folder) as household:
        bench = Bench(household, folder, surface)
        bench.start_machine("--speedup", str(speedup), "--surface", surface, *wrong)
        (folder / "shed.toml").write_text(OWN_LASER)
        yield bench


def _typed(answer):
    return {True: "yes", False: "no"}.get(answer, answer) if isinstance(answer, bool) else answer


def _is_asked_for(daemon):
    step = daemon.call("status")["interlocks"]["arming"]["step"]
    return step == "waiting for somebody at the machine"
