"""The page's styles and scripts, sent packed to who can unpack them: a quarter of their size.

Only what is the same for everybody is packed. A page holds the token of its forms beside words
that others may choose, and the length of the two packed together would tell of the token.
"""

import gzip
from functools import lru_cache
from pathlib import Path
from typing import Final

from flask import Flask, Response, request
from werkzeug.security import safe_join

from etchweb.server.form_parser import PageRequest

PACKED: Final = {  # ending and what it is; pictures are packed already
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".json": "application/json",
}


class PageApp(Flask):
    """Flask, but for how it sends static files and reads forms."""

    request_class = PageRequest

    def send_static_file(self, filename: str) -> Response:
        """Return a static file, packed where the browser takes that; raise NotFound."""
        kind = PACKED.get(Path(filename).suffix)
        path = safe_join(self.static_folder or "", filename)
        if kind is None or path is None or not Path(path).is_file():
            return super().send_static_file(filename)
        if request.accept_encodings["gzip"] <= 0:
            answer = super().send_static_file(filename)
        else:
            answer = Response(_packed(Path(path)), mimetype=kind)
            answer.content_encoding = "gzip"
        answer.vary.add("Accept-Encoding")
        return answer


@lru_cache(maxsize=256)
def _packed(path: Path) -> bytes:
    """Return what is in a file, packed; while a page runs its static files do not change."""
    return gzip.compress(path.read_bytes(), mtime=0)
