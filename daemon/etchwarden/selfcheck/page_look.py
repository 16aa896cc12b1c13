"""Looking at the page: its file, and whether it answers."""

import http.client
import stat
from pathlib import Path
from typing import Final

from etchwarden.configuring.page_settings import PageSettings
from etchwarden.installation.paths import PAGE_SETTINGS, Places
from etchwarden.selfcheck.facts import PageFacts
from etchwarden.selfcheck.machine_look import reasons_of
from etchweb.server.host_names import EVERY_ADDRESS
from etchwire.configuration.faults import FaultyConfiguration

PATIENCE_S: Final = 5.0
SECRETS_FOLDER: Final = "secrets"


def look_at_page(places: Places) -> PageFacts:
    """Gather what can be found out about the page."""
    try:
        settings = PageSettings.at(places.settings / PAGE_SETTINGS)
    except FaultyConfiguration as fault:
        return PageFacts(fault=str(fault), fault_reasons=reasons_of(fault))
    host = "127.0.0.1" if settings.host in EVERY_ADDRESS else settings.host
    status_code, is_away = _answer(host, settings.port)
    return PageFacts(
        port=settings.port,
        machines=settings.machines,
        status_code=status_code,
        is_away=is_away,
        readable_secrets=tuple(_readable(places.settings / SECRETS_FOLDER)),
    )


def _answer(host: str, port: int) -> tuple[int | None, str]:
    connection = http.client.HTTPConnection(host, port, timeout=PATIENCE_S)
    try:
        connection.request("GET", "/pair")
        return connection.getresponse().status, ""
    except (OSError, http.client.HTTPException) as error:
        return None, f"{getattr(error, 'strerror', None) or error}."
    finally:
        connection.close()


def _readable(folder: Path) -> list[str]:
    try:
        return sorted(str(path) for path in folder.iterdir() if path.stat().st_mode & stat.S_IROTH)
    except OSError:
        return []
