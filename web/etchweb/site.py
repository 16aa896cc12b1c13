"""Several machines at one address: each has an application, and the address says whose."""

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final, Self
from wsgiref.types import StartResponse, WSGIEnvironment

from flask import Flask
from werkzeug.utils import redirect

from etchweb.app import create_app
from etchweb.daemon.listener import Listener
from etchweb.daemon.protocol import Daemon
from etchweb.machine.machines import Machines, place_of
from etchweb.server.host_names import names_of

_PLACE: Final = re.compile(r"(?P<place>/m/(?P<name>[^/]+))(?P<rest>/.*)?")
_KEPT_ADDRESSES: Final = {"/pair": "/pair"}  # `etchwarden pair` prints it; all else is the choice


class Site:
    """A WSGI application of one application a machine; a single one stands at the root."""

    def __init__(self, apps: Mapping[str, Flask]) -> None:
        self.apps = dict(apps)

    @classmethod
    def of_machines(cls, daemons: Mapping[str, Daemon], folder: Path, *, host: str) -> Self:
        """Return the pages of `daemons` by name, which share phones and keep all else apart."""
        machines, apps = Machines.of(folder), {}
        for name, daemon in daemons.items():
            own = folder / name
            own.mkdir(parents=True, exist_ok=True)
            app = create_app(daemon, own, host_names=names_of(host), machines=machines)
            machines.listeners[name] = app.extensions["etchweb"].listener
            if len(daemons) > 1:
                app.jinja_env.globals["machine_name"] = name
            apps[name] = app
        return cls(apps)

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        """Have the machine's application answer, or lead to the choice."""
        if len(self.apps) == 1:
            return next(iter(self.apps.values()))(environ, start_response)
        found = _PLACE.fullmatch(environ.get("PATH_INFO", ""))
        app = self.apps.get(found["name"]) if found else None
        if found is None or app is None:
            return self._lead(environ, start_response)
        if found["rest"] is None:
            return redirect(f"{found['place']}/")(environ, start_response)
        inside = environ | {"SCRIPT_NAME": found["place"], "PATH_INFO": found["rest"]}
        return app(inside, start_response)

    @property
    def machines(self) -> Machines:
        """What all of them share."""
        shared: Machines = next(iter(self.apps.values())).extensions["etchweb machines"]
        return shared

    @property
    def listeners(self) -> dict[str, Listener]:
        """The listener to each daemon, by the machine's name."""
        return {name: app.extensions["etchweb"].listener for name, app in self.apps.items()}

    def name_hosts(self, names: Sequence[str]) -> None:
        """Answer to these names from now on."""
        for app in self.apps.values():
            app.config["TRUSTED_HOSTS"] = list(names)

    def start(self) -> None:
        """Listen to every daemon from now on."""
        for listener in self.listeners.values():
            listener.start()

    def end(self) -> None:
        """Stop listening and let every stream go."""
        for listener in self.listeners.values():
            listener.end()

    def _lead(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        first = place_of(next(iter(self.apps)))
        rest = _KEPT_ADDRESSES.get(environ.get("PATH_INFO", ""), "/machines")
        return redirect(f"{first}{rest}")(environ, start_response)
