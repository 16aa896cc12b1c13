"""A board's machines report to the shop's broker, and its page shows what the broker knows."""

import atexit
from collections.abc import Mapping
from contextlib import ExitStack

from flask import Flask

from etchweb.asking import Daemon
from etchweb.fleet import view
from etchweb.fleet.reporter import Reporter
from etchweb.fleet.settings import FleetSettings
from etchweb.fleet.watcher import Watcher


def join_fleet(
    settings: FleetSettings, apps: Mapping[str, Flask], daemons: Mapping[str, Daemon]
) -> None:
    """Report each of `daemons` by its name, and give every page the view of all boxes.

    Both go on until the process ends. Raise FleetFault.
    """
    parts = ExitStack()
    atexit.register(parts.close)
    for name, daemon in daemons.items():
        reporter = Reporter(name, daemon, settings)
        reporter.start()
        parts.callback(reporter.close)
    watcher = parts.enter_context(Watcher(settings))
    for app in apps.values():
        show_fleet(app, watcher)


def show_fleet(app: Flask, watcher: Watcher) -> None:
    """Give a page the view of all boxes."""
    app.extensions[view.EXTENSION] = watcher
    app.jinja_env.globals["has_fleet"] = True
