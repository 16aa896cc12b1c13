"""The page over HTTP: a browser without eyes, which keeps its cookie and fills forms in."""

import html
import re
import secrets
import urllib.error
from collections.abc import Iterator
from contextlib import contextmanager
from http.cookiejar import CookieJar
from urllib.request import HTTPCookieProcessor, Request, build_opener

PATIENCE_S = 300.0


class PageByHttp:
    """Looks at the page at `url` and presses its buttons."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.presses = 0
        self._opener = build_opener(HTTPCookieProcessor(CookieJar()))

    def pair(self, code: str) -> None:
        """Type the six digits that the box shows."""
        self.post(self.look("/pair"), "/pair", code=code)

    def look(self, path: str) -> str:
        """Return a page's text."""
        return self.fetch(path).decode()

    def fetch(self, path: str) -> bytes:
        """Return what lies at `path`."""
        with (
            _refusals_with_their_page(path),
            self._opener.open(f"{self.url}{path}", timeout=PATIENCE_S) as answer,
        ):
            return answer.read()

    def post(self, page: str, path: str, **form: object) -> str:
        """Press a button of `page`; return the address it leads to."""
        token = html.unescape(field(page, "form_token"))
        body, kind = _multipart({"form_token": token, **form})
        request = Request(
            f"{self.url}{path}", data=body, headers={"Origin": self.url, "Content-Type": kind}
        )
        self.presses += 1
        with (
            _refusals_with_their_page(path),
            self._opener.open(request, timeout=PATIENCE_S) as answer,
        ):
            return answer.geturl()


class PageRefused(AssertionError):
    """An answer that is no success: the sentence of it, and the whole `page`."""

    def __init__(self, path: str, code: int, page: str) -> None:
        """Take what was answered at `path`."""
        self.page = page
        told = re.findall(r'role="alert"[^>]*>([^<]+)<', page)
        super().__init__(f"{path}: {code} {told[0] if told else page}")


@contextmanager
def _refusals_with_their_page(path: str) -> Iterator[None]:
    try:
        yield
    except urllib.error.HTTPError as refusal:
        with refusal:
            raise PageRefused(path, refusal.code, refusal.read().decode()) from None


def field(page: str, name: str) -> str:
    """Return what a field of a form holds."""
    return re.search(rf'name="{name}"[^>]*value="([^"]*)"', page)[1]


def say_that_the_patch_holds(page, shown, at):
    """Answer the question for the fingernail where the card's page `shown` asks it."""
    question = shown.rfind("hold under a fingernail?")
    if question >= 0:  # its form stands behind it; patches of the card have forms before
        page.post(shown, f"{at}/marks", mark="good", patch=field(shown[question:], "patch"))


def _multipart(form) -> tuple[bytes, str]:
    edge = secrets.token_hex(16)
    parts = []
    for name, value in form.items():
        is_file = isinstance(value, bytes)
        file_name = '; filename="tile.png"' if is_file else ""
        head = f'--{edge}\r\nContent-Disposition: form-data; name="{name}"{file_name}\r\n\r\n'
        parts.append(head.encode() + (value if is_file else str(value).encode()) + b"\r\n")
    return b"".join(parts) + f"--{edge}--\r\n".encode(), f"multipart/form-data; boundary={edge}"
