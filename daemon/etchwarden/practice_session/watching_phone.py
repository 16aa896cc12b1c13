"""A phone that may only watch, as a scenario needs one: it pairs as every phone does."""

import json
import re
import time
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Final
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, Request, build_opener

import click

from etchweb.auth.codes import new_code
from etchweb.auth.roles import Role
from etchweb.auth.store import Store

_TOKEN: Final = re.compile(r'name="form_token" value="([^"]+)"')
_PATIENCE_S: Final = 20.0


class WatchingPhone:
    """Reaches the page that keeps its things in a folder, over HTTP, and has no screen."""

    def __init__(self, folder: Path) -> None:
        """Pair, with a code for one who may watch; raise ClickException where no page is served."""
        store, code = Store(folder), new_code()
        served = store.served()
        if served is None:
            raise click.ClickException("No page is served, so that no phone can be paired.")
        self._page = f"http://{served[0]}:{served[1]}"
        self._opener = build_opener(HTTPCookieProcessor(CookieJar()))
        store.add_code(code, Role.WATCH, time.time())
        self._token = self._form_token("/pair")
        self._send("/pair", code=code)
        self._token = self._form_token("/phones")  # which has a form in every state

    def press(self, button: str) -> str | None:
        """Ask the page for `button`; return what it was refused with, None where it was not."""
        return self._send(f"/{button}")

    def _form_token(self, path: str) -> str:
        with self._opener.open(self._page + path, timeout=_PATIENCE_S) as answer:
            found = _TOKEN.search(answer.read().decode())
        if found is None:
            raise click.ClickException(f"The page at {path} has no form.")
        return found[1]

    def _send(self, path: str, **form: str) -> str | None:
        request = Request(  # noqa: S310 - an address of our own
            self._page + path,
            data=urlencode({"form_token": self._token, **form}).encode(),
            headers={"Origin": self._page, "Accept": "application/json"},
        )
        try:
            self._opener.open(request, timeout=_PATIENCE_S).close()
        except HTTPError as refused:
            with refused:
                return str(json.loads(refused.read())["sentence"])
        return None
