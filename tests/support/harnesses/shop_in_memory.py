"""A whole shop in one process: page, daemon with a real logbook, practice machine, time by hand.

The page asks through the daemon's own socket; whoever asks steps the loop until there is an answer.
Pictures are made in a thread of the test, as etchweb's own tests try with real children.
"""

from pathlib import Path
from typing import Any

from etchdaemon.hardware.looking import LOOK_EVERY_S
from etchdaemon.rpc.dispatcher import Dispatcher
from etchweb.app import create_app
from etchweb.auth.codes import form_token
from etchweb.auth.store import Store
from etchweb.daemon.daemon_socket import SocketDaemon
from golden.box import SteppedOperator
from rig.guarded import GuardedRig
from support.harnesses.interlock_bench import ANSWERS
from support.harnesses.kept_templates import TEMPLATES
from support.harnesses.logbooks import NamedLogbook
from support.harnesses.work_here import queue_here

_YES = "yes"
ORIGIN = "http://localhost"
LONG_ETCH_S = 600.0
PATIENCE_S = 60.0


class ShopInMemory(GuardedRig):
    """A guarded rig with a real logbook and socket, and the page in front of it.

    Its loop looks as often as a real guard.
    """

    step_s = LOOK_EVERY_S

    def __init__(self, folder: Path):
        super().__init__(folder)
        self._dispatcher = Dispatcher(folder / "s", SteppedOperator(self), self.logbook)
        self._dispatcher.start()
        self.page_folder = folder / "page"
        self.page_folder.mkdir()
        daemon = SocketDaemon(folder / "s")
        self.app = create_app(daemon, self.page_folder, open_to_loopback=True)
        self.app.jinja_env.bytecode_cache = TEMPLATES
        self.app.extensions["etchweb works"] = queue_here()
        self._client = self.app.test_client()
        self._token = form_token(Store(self.page_folder).secret, "loopback")
        # Links and buttons, on the phone and at the machine; a person also ticks the checklist.
        self.taps = 0

    def make_records(self):
        self.logbook = NamedLogbook.with_practice(self.folder, self.clock)
        return self.logbook

    def __exit__(self, *_):
        self._dispatcher.stop()
        super().__exit__()
        self.logbook.close()

    # On the page

    def look(self, address: str) -> str:
        """Return the page that is shown already."""
        answer = self._client.get(address)
        assert answer.status_code == 200, answer.text
        return answer.text

    def follow(self, address: str) -> str:
        """Follow a link and return the page."""
        self.taps += 1
        return self.look(address)

    def press(self, address: str, form: dict[str, Any], kind: str | None = None) -> str:
        """Press the button of a form, and return where it leads."""
        self.taps += 1
        data = {"form_token": self._token} | form
        origin = {"Origin": ORIGIN}
        answer = self._client.post(address, data=data, headers=origin, content_type=kind)
        assert answer.status_code == 303, answer.text
        return answer.location

    def let_pictures_be_made(self) -> None:
        """Wait until no picture is in the making."""
        queue = self.app.extensions["etchweb works"]
        for draft in self.app.extensions["etchweb drafts"].all():
            work = queue.of(draft.id)
            assert work is None or (work.over.wait(PATIENCE_S) and not work.failed), work.failed

    # At the machine

    def press_button(self):
        self.taps += 1
        super().press_button()

    def arm_and_start(self) -> None:
        """Answer the checklist on the page, press the button at the machine, start."""
        self.set_origin()
        tile = self.commands.snapshot().job.sha256
        self.wait_until(lambda: "arm" in self.may or self.box.request is not None)
        is_pressed_first = self.box.request is not None
        if is_pressed_first:
            self.press_button()
        self.wait_until(lambda: "arm" in self.may)
        answers = {
            f"answer {key}": "yes" if said is True else said for key, said in ANSWERS.items()
        }
        self.press("/arm", {"tile": tile, "cautions": "read"} | answers)
        if not is_pressed_first:
            self.press_button()
        self.wait_until(lambda: "start" in self.may)
        self.press("/start", {"tile": tile})

    def etch(self) -> int:
        """Etch what is loaded to its end and return the run's number."""
        self.arm_and_start()
        self.wait_for_the_end(within_s=LONG_ETCH_S)
        assert self.run.ended == "complete"
        return self.run.id
