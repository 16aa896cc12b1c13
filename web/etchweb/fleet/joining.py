"""A board's machines report to the shop's broker, and its page shows what the broker knows."""

import atexit
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import replace

from flask import Flask

from etchweb.daemon.protocol import Daemon
from etchweb.fleet import view
from etchweb.fleet.reporter import Reporter
from etchweb.fleet.settings import FleetSettings
from etchweb.fleet.watcher import Watcher
from etchweb.machine.machines import place_of


def join_fleet(
    settings: FleetSettings, apps: Mapping[str, Flask], daemons: Mapping[str, Daemon]
) -> None:
    """Report each of `daemons` by its name, and give every page the view of all boxes.

    Both go on until the process ends. Raise FleetFault.
    """
    parts = ExitStack()
    atexit.register(parts.close)
    for name, daemon in daemons.items():
        reporter = Reporter(name, daemon, _settings_of(name, settings, is_alone=len(daemons) == 1))
        reporter.start()
        parts.callback(reporter.close)
    watcher = parts.enter_context(Watcher(settings))
    for app in apps.values():
        show_fleet(app, watcher)


def _settings_of(name: str, settings: FleetSettings, *, is_alone: bool) -> FleetSettings:
    """Return the settings with the address of the machine's own page."""
    if settings.page is None or is_alone:
        return settings
    return replace(settings, page=f"{settings.page.rstrip('/')}{place_of(name)}/")


def show_fleet(app: Flask, watcher: Watcher) -> None:
    """Give a page the view of all boxes."""
    app.extensions[view.EXTENSION] = watcher
    app.jinja_env.globals["has_fleet"] = True
