"""The page really served, and a real browser to look at it: for tests and for pictures."""

import os
import shutil
import subprocess
import tarfile
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import Any, Final

import pytest
import waitress
from PIL import Image, ImageDraw

from etchweb.app import create_app
from etchweb.previews.store import PICTURES_FOLDER, keep_picture
from etchweb.server.server import Server
from etchweb.serving import listen_at
from etchwire.calls.snapshot import Snapshot
from support.fakes.fake_daemon import SHA256, FakeDaemon

CHROMIUM: Final = "/usr/bin/chromium-headless-shell"
HOST_NAME: Final = "etchwarden.local"
WIDTHS_PX: Final = (320, 412, 768)
SCHEMES: Final = ("light", "dark")
# WCAG 2.2 asks for 24 (2.5.8); fingers with paint on them for more.
LEAST_TARGET_PX: Final = 48
AXE: Final = "axe-core@4.14.1"
WCAG_22_AA: Final = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
# The rules among them that look at colours, which are all that the dark scheme changes.
ABOUT_COLOURS: Final = ("color-contrast", "link-in-text-block")
RULES_BY_SCHEME: Final = {"light": WCAG_22_AA, "dark": ABOUT_COLOURS}


def require(program: str) -> None:
    """Skip where `program` is missing, except in CI: there it is a failure."""
    if shutil.which(program) or os.environ.get("CI"):
        return
    pytest.skip(f"needs {program}, which is not installed")


def require_module(name: str) -> Any:
    """Import `name`; skip where it is missing, except in CI."""
    return import_module(name) if os.environ.get("CI") else pytest.importorskip(name)


@contextmanager
def browser() -> Iterator[Any]:
    """Start the system's browser, which knows one more name for this machine.

    On a name other than localhost a browser takes plain HTTP for what it is: no wake lock, no
    Sec-Fetch headers. Tests on localhost would never see that.
    """
    require(CHROMIUM)
    sync_api = require_module("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=CHROMIUM, args=[f"--host-resolver-rules=MAP {HOST_NAME} 127.0.0.1"]
        )
        yield chromium
        chromium.close()


class ServedPage:
    """A page with a daemon that the test moves."""

    def __init__(self, daemon: FakeDaemon, app: Any, port: int) -> None:
        self.daemon = daemon
        self.app = app
        self.url = f"http://{HOST_NAME}:{port}"

    def start_over(self) -> None:
        """Be idle, and heard to be: a phone would call for a daemon still thought to be away."""
        self.daemon.start_over()
        ear = self.app.extensions["etchweb"].listener
        while not _is_idle(ear.report.snapshot) or self.daemon.has_more_to_tell:
            ear.wait_for_news(ear.report.number, 0.1)


def _is_idle(snapshot: Snapshot | None) -> bool:
    return snapshot is not None and snapshot.state == "idle"


@contextmanager
def served_page(folder: Path, **options: Any) -> Iterator[ServedPage]:
    """Serve the page as the command does, in this process."""
    daemon = FakeDaemon()
    keep_picture(draw_picture(folder), folder=folder / PICTURES_FOLDER, gcode_sha256=SHA256)
    app = create_app(daemon, folder, host_names=("127.0.0.1", HOST_NAME), **options)
    listener = listen_at("127.0.0.1", 0)
    connections: dict[int, Any] = {}
    server = Server(app, listener, app.extensions["etchweb machines"].known, map=connections)
    ear = app.extensions["etchweb"].listener
    thread = threading.Thread(target=server.run, name="page")
    thread.start()
    ear.start()
    try:
        yield ServedPage(daemon, app, listener.getsockname()[1])
    finally:  # or the thread would outlive a test that failed
        ear.end()
        server.task_dispatcher.shutdown()
        # In the server's own thread: its loop ends when it has no connections left.
        server.trigger.pull_trigger(lambda: waitress.wasyncore.close_all(connections))
        thread.join()


def draw_picture(folder: Path) -> Path:
    """Draw something with dots: our own invention, for pages that need a picture."""
    picture = Image.new("L", (1000, 1000), 255)
    draw = ImageDraw.Draw(picture)
    for ring in range(20):
        inset = 40 + ring * 22
        draw.ellipse((inset, inset, 1000 - inset, 1000 - inset), fill=235 - ring * 11)
    path = folder / "expected.png"
    picture.convert("1").save(path)
    return path


def phone_options(width_px: int = 412, scheme: str = "light", **more: Any) -> Mapping[str, Any]:
    """Return what a browser context needs to be a phone."""
    return {
        "viewport": {"width": width_px, "height": 820},
        "color_scheme": scheme,
        "device_scale_factor": 2,
        "has_touch": True,
        "reduced_motion": "reduce",
        "locale": "en-GB",
        "timezone_id": "Europe/London",
        **more,
    }


def axe_script(cache: Path) -> str:
    """Return axe-core's text, fetched once through npm; it is nobody's to copy into here."""
    require("npm")
    script = cache / "package" / "axe.min.js"
    if not script.exists():
        subprocess.run(["npm", "pack", AXE], cwd=cache, check=True, capture_output=True)
        with tarfile.open(next(cache.glob("axe-core-*.tgz"))) as archive:
            archive.extract("package/axe.min.js", cache, filter="data")
    return script.read_text()


def violations(page: Any, axe: str) -> list[str]:
    """Return what is wrong with `page` by WCAG 2.2 AA in both schemes, a line for each place."""
    page.evaluate(axe)
    found = []
    for scheme, rules in RULES_BY_SCHEME.items():
        page.emulate_media(color_scheme=scheme)
        result = page.evaluate("rules => axe.run(document, {runOnly: rules})", list(rules))
        found += [
            f"{scheme}, {fault['id']}: {node['html'][:120]}"
            for fault in result["violations"]
            for node in fault["nodes"]
        ]
    return found


def too_small(page: Any) -> list[str]:
    """Return what on the page is too small for a finger with paint on it.

    Links within a sentence are excepted, as in WCAG 2.2, 2.5.8 Target Size.
    """
    return page.evaluate(
        """least => [...document.querySelectorAll(
            "button, a, summary, .tick, .places input, .form input, .form select")]
            .filter(one => one.offsetParent && !one.matches("p a:only-of-type, .tick input"))
            .filter(one => one.getBoundingClientRect().height < least)
            .map(one => one.outerHTML.slice(0, 90))""",
        LEAST_TARGET_PX,
    )


def keep_back(phone: Any, script: str) -> Callable[[], None]:
    """Have the `phone` wait for a script, and return what lets it come."""
    kept: list[Any] = []
    phone.route(f"**/{script}", lambda route: kept.append(route))  # noqa: PLW0108  takes no method

    def let_it_come() -> None:
        while not kept:
            phone.wait_for_timeout(20)
        kept.pop().continue_()

    return let_it_come
