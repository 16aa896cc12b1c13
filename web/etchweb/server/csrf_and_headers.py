"""What every request must bring and every answer must carry."""

import logging
import time
from typing import Final
from urllib.parse import urlsplit

from flask import Flask, Request, Response, abort, request
from werkzeug.exceptions import SecurityError

from etchweb.server.rate import Allowance, Buckets

SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
LARGEST_FORM_BYTES: Final = 16 * 1024
LARGEST_PHOTO_BYTES: Final = 40_000_000
FORM_IN_HAND_BYTES: Final = 256 * 1024
CACHE_FOR_EVER: Final = "public, max-age=31536000, immutable"

HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'self'; object-src 'none'; base-uri 'none'; "
        "frame-ancestors 'none'; form-action 'self'"
    ),
    "X-Content-Type-Options": "nosniff",
    # Not no-referrer: under it browsers send `Origin: null` with our own forms (fetch standard,
    # "append a request Origin header"), and every button would be refused.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}

# Whoever asks a thousand times a second fills no log.
_told_of_names = Buckets(Allowance(tries=1, one_more_after_s=60.0))
_log = logging.getLogger(__name__)

FOREIGN_ORIGIN: Final = (
    "This request came from another page, so nothing was done. "
    "Open the box's own page and try there."
)


# Endpoints whose form brings files, and the largest such form.
BRINGS_FILES: Final = {
    "verdicts.save": LARGEST_PHOTO_BYTES,
    "new_picture.upload": LARGEST_PHOTO_BYTES,
    "craft.compare_lots": LARGEST_PHOTO_BYTES,
    "orders.take_list": 4 * LARGEST_PHOTO_BYTES,  # the photos of a whole list
    "cards.read_photos": 2 * LARGEST_PHOTO_BYTES,  # several photos of one test card
}
FORM_KINDS: Final = frozenset({"application/x-www-form-urlencoded", "multipart/form-data", ""})
NO_FORM: Final = "Send it as a form, as this page does."
NO_FILE_FORM: Final = "Send the photo as a form with a file, as this page does."


def add_checks(app: Flask) -> None:
    """Hang the checks and the headers on `app`."""
    app.before_request(refuse_foreign_names)
    app.before_request(refuse_foreign_changes)
    app.before_request(expect_files)
    app.after_request(add_headers)


def refuse_foreign_names() -> None:
    """End a request with a sentence that came under a name this box does not go by."""
    if isinstance(request.routing_exception, SecurityError):
        name = request.environ.get("HTTP_HOST", "")
        if _told_of_names.wait_s("", time.monotonic()) == 0:
            _log.warning("Somebody asked for %.80r, a name that is not this box's.", name)
        raise request.routing_exception


def refuse_foreign_changes() -> None:
    """End a changing request with 403 unless our own page sent it."""
    if request.method not in SAFE_METHODS and not is_from_own_page(request):
        abort(403, FOREIGN_ORIGIN)


def expect_files() -> None:
    """Take forms alone, and let one with files be large; nothing of it has been read yet."""
    largest_bytes = BRINGS_FILES.get(request.endpoint or "")
    if (request.content_length or 0) > (largest_bytes or 0) + LARGEST_FORM_BYTES:
        abort(413)
    if request.method in SAFE_METHODS:
        return
    if largest_bytes is None:
        if request.mimetype not in FORM_KINDS:
            abort(415, NO_FORM)
        return
    if request.mimetype != "multipart/form-data":
        abort(415, NO_FILE_FORM)
    request.max_content_length = largest_bytes + LARGEST_FORM_BYTES
    # Werkzeug reads 64 KiB at a time and counts what it has in hand, files too.
    request.max_form_memory_size = FORM_IN_HAND_BYTES


def is_from_own_page(request: Request) -> bool:
    """Return whether the browser says that the request comes from a page of ours.

    Browsers send Origin with every POST, and over plain HTTP nothing else can be relied on: the
    Sec-Fetch headers are absent there. Where Sec-Fetch-Site is sent it must agree.
    """
    origin = urlsplit(request.headers.get("Origin", ""))
    if (origin.scheme, origin.netloc) != (request.scheme, request.host):
        return False
    return request.headers.get("Sec-Fetch-Site", "same-origin") in ("same-origin", "none")


def add_headers(response: Response) -> Response:
    """Add what every answer carries; what is not versioned is not kept."""
    response.headers.update(HEADERS)
    if request.endpoint == "static" and response.status_code in (200, 304):
        response.headers["Cache-Control"] = CACHE_FOR_EVER
    response.headers.setdefault("Cache-Control", "no-store")
    return response


def wants_json() -> bool:
    """Return whether a script asks, rather than a person's browser."""
    kinds = ["text/html", "application/json"]
    return request.accept_mimetypes.best_match(kinds) == "application/json"
