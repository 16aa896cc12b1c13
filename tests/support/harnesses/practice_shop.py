"""A box, a practice machine and a page, as processes, with nothing known and nothing loaded."""

import re
from pathlib import Path

from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.session import Session


class NewBox:
    """What a person unpacks: no laser, no tile and paint, no recipe."""

    def __init__(self, household: ProcessGroup, folder: Path, *, speedup: float) -> None:
        self.session = Session(household, folder)
        self.session.start_machine("--speedup", f"{speedup:g}", is_new_box=True)
        household.start(
            "page", "page", "--daemon", str(self.session.socket),
            "--folder", str(self.session.page),
            "--port", "0", "--open-to-loopback", "--practice", str(folder / "machine"),
        )  # fmt: skip
        log = folder / "page.log"
        household.wait_until(lambda: re.search(r"http://\S+:\d+/", log.read_text()) is not None)
        self.url = re.search(r"http://\S+:\d+/", log.read_text())[0].rstrip("/")

    def lay_new_tile(self) -> None:
        """Take the tile out and lay a new one."""
        with self.session.ask_machine() as machine:
            machine.call("lay_new_tile")

    def photograph(self, path: Path) -> Path:
        """Take a photo of the wiped tile."""
        with self.session.ask_machine() as machine:
            machine.call("picture", after=str(path))
        return path
