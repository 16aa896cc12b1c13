"""The page as one WSGI application: who it asks, where its files lie, which subjects it has."""

import hashlib
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Final

from flask import Flask

from etchweb import errors, guard, pictures, watch
from etchweb.asking import Daemon
from etchweb.host_names import LOOPBACK_NAMES
from etchweb.listening import Listener
from etchweb.stream import GREATEST_STREAMS

_HERE: Final = Path(__file__).parent


@dataclass(slots=True)
class House:
    """What the views of one application share."""

    daemon: Daemon
    pictures: Path
    listener: Listener
    streams: threading.BoundedSemaphore = field(
        default_factory=lambda: threading.BoundedSemaphore(GREATEST_STREAMS)
    )


def create_app(
    daemon: Daemon, pictures_folder: Path, *, host_names: Sequence[str] = LOOPBACK_NAMES
) -> Flask:
    """Return the application, which asks `daemon` and answers to `host_names` only.

    `host_names` are those a phone may use to reach it, without port: any other is refused, or a
    foreign page could reach the box under a name of its own. The caller starts the listener.
    """
    app = Flask(__name__, static_url_path=f"/static/{_static_version()}")
    app.config.update(
        TRUSTED_HOSTS=list(host_names),
        MAX_CONTENT_LENGTH=guard.LARGEST_FORM_BYTES,
        MAX_FORM_MEMORY_SIZE=guard.LARGEST_FORM_BYTES,
    )
    app.jinja_options = {"trim_blocks": True, "lstrip_blocks": True}
    app.extensions["etchweb"] = House(daemon, pictures_folder, Listener(daemon))
    app.add_template_filter(clock_time)
    errors.show_errors(app)
    guard.guard(app)
    for subject in (watch, pictures):
        app.register_blueprint(subject.pages)
    return app


def clock_time(at_utc: str) -> str:
    """Return the box's own clock time of a moment; a script puts the phone's in its place."""
    return datetime.fromisoformat(at_utc).astimezone().strftime("%H:%M") if at_utc else ""


def _static_version() -> str:
    """Return a digest of all static files: their address, so that a phone may keep them.

    The version is in the path, not in a query, because modules import one another by relative path.
    """
    digest = hashlib.sha256()
    for file in sorted(path for path in (_HERE / "static").rglob("*") if path.is_file()):
        digest.update(file.read_bytes())
    return digest.hexdigest()[:12]
